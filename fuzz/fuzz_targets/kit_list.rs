#![no_main]

strew_fuzz::target!("kit_list");
