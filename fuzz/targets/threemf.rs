//! 3MF: an archive as it is, if it starts like one; else a model part, packed.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet_fuzz::read;
use std::io::{Cursor, Write};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

const RELATIONS: &[u8] =
    b"<Relationships><Relationship Target=\"/m.model\" Type=\"http://example.org/3dmodel\"/></Relationships>";

fn packed(model: &[u8]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    // as it is: what unpacks is the other crate's to prove
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in [("_rels/.rels", RELATIONS), ("m.model", model)] {
        archive
            .start_file(name, stored)
            .expect("a part can be begun");
        archive.write_all(bytes).expect("memory takes all");
    }
    let packed = archive.finish().expect("an archive can be ended");
    packed.into_inner()
}

fuzz_target!(|bytes: &[u8]| {
    if bytes.starts_with(b"PK") {
        read(bytes);
    } else {
        read(&packed(bytes));
    }
});
