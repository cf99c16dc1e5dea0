//! Binary STL: the bytes are records, so that the length is right and the coordinates are anything.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet_fuzz::read;

fuzz_target!(|bytes: &[u8]| {
    let count = bytes.len() / 50;
    let mut file = vec![0; 80];
    file.extend((count as u32).to_le_bytes());
    file.extend(&bytes[..50 * count]);
    read(&file);
    // and as they are, header and all
    read(bytes);
});
