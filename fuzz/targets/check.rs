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
    let balls = vec![
        4.0 + f64::from(bytes.byte() % 4),
        8.0 + f64::from(bytes.byte() % 8),
    ];
    shop.with_balls(balls).expect("balls of some size");
    let stickouts = vec![12.0 + f64::from(bytes.byte() % 16), 40.0];
    shop.with_stickouts(stickouts)
        .expect("stickouts of some length");
    let mut facets = half(&mut bytes);
    sicken(&mut facets, &mut bytes);
    let Some(model) = read(&binary_stl(&facets)) else {
        return;
    };
    let config = CheckConfig {
        shop,
        axis: None,
        cell: Some(0.5),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    };
    match check(&[model], &config, &|_| {}) {
        Ok(report) => invariants::assert_all(&report),
        Err(refusal) => assert!(!refusal.to_string().is_empty()),
    }
});
