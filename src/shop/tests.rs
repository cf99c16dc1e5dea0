use super::*;
use crate::units::Unit;

fn shop(text: &str) -> Shop {
    Shop::from_toml(text, "shop.toml").unwrap_or_else(|e| panic!("{e}"))
}

/// A shop file of this text is refused with this message behind the file's name.
#[track_caller]
fn refused(text: &str, message: &str) {
    let error = Shop::from_toml(text, "shop.toml").unwrap_err();
    assert_eq!(error.to_string(), format!("shop.toml, {message}"));
}

/// A millimetre file with one 6 mm cutter and these lines in it, from line 4, is refused.
#[track_caller]
fn cutter_refused(lines: &str, message: &str) {
    let text = format!("units = \"mm\"\n[[cutter]]\ndiameter = 6\n{lines}\n");
    refused(&text, message);
}

mod rack;
mod reading;
mod refusals;
mod stack;
