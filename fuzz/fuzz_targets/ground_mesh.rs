#![no_main]

strew_fuzz::target!("ground_mesh");
