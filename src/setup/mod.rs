//! Which body is which half, its tool axis and its tool frame. Knows nothing of cutters.
