//! The questions: one file each, pure functions from fields and shop to a result. No text, no pictures.
