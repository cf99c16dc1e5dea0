//! The whole check on small halves, valid and sick: see `solid` for the meshes, `invariants` for what must hold.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet::shop::Shop;
use moldvet::vet::{CheckConfig, check};
use moldvet_fuzz::solid::{Bytes, half, sicken};
use moldvet_fuzz::{binary_stl, invariants, read};

fuzz_target!(|bytes: &[u8]| {
    let mut bytes = Bytes(bytes);
    let mut shop = Shop::builtin();
    // large, for what a small one leaves in a corner takes seconds to find
    let balls = vec![
        6.0 + f64::from(bytes.byte() % 4),
        12.0 + f64::from(bytes.byte() % 8),
    ];
    shop.with_balls(balls).expect("balls of some size");
    let stickouts = vec![12.0 + f64::from(bytes.byte() % 16), 40.0];
    shop.with_stickouts(stickouts)
        .expect("stickouts of some length");
    let mut facets = half(&mut bytes);
    sicken(&mut facets, &mut bytes);
    let file = binary_stl(&facets);
    // to look at a find: its mesh as a file
    if let Some(path) = std::env::var_os("MESH") {
        std::fs::write(path, &file).expect("MESH names a file that can be written");
    }
    let Some(model) = read(&file) else {
        return;
    };
    let config = CheckConfig {
        shop,
        axis: None,
        cell: Some(1.0),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    };
    match check(&[model], &config, &|_| {}) {
        Ok(report) => invariants::assert_all(&report),
        Err(refusal) => assert!(!refusal.to_string().is_empty()),
    }
});
