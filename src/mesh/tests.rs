//! Whole files, from bytes to bodies.
