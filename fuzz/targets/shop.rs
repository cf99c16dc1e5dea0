//! Shop files: whatever is taken passes its own check, and its tools can be made.
#![no_main]

use libfuzzer_sys::fuzz_target;
use moldvet::shop::Shop;

fuzz_target!(|text: &str| {
    match Shop::from_toml(text, "shop.toml") {
        Ok(shop) => {
            shop.check().expect("what was read is sound");
            assert!(!shop.cutters.is_empty());
            for cutter in &shop.cutters {
                assert!(cutter.diameter.is_finite() && cutter.diameter > 0.0);
                assert!(cutter.corner_radius <= cutter.radius() + 1e-9);
            }
            for (cutter, tool) in shop.tools() {
                assert!(cutter < shop.cutters.len() && tool.stickout.is_finite());
            }
        }
        Err(refusal) => assert!(refusal.to_string().contains("shop.toml"), "{refusal}"),
    }
});
