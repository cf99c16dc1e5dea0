//! OBJ: any text behind a first corner, which tells its kind.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet_fuzz::read;

fuzz_target!(|text: &[u8]| {
    read(&[b"v 0 0 0\n", text].concat());
});
