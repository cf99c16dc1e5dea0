//! PLY: anything behind the first line.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet_fuzz::read;

fuzz_target!(|bytes: &[u8]| {
    read(&[b"ply\n", bytes].concat());
});
