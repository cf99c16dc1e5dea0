//! ASCII STL: any text behind the first word.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet_fuzz::read;

fuzz_target!(|text: &[u8]| {
    read(&[b"solid ", text].concat());
});
