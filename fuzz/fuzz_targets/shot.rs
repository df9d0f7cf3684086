#![no_main]

strew_fuzz::target!("shot");
