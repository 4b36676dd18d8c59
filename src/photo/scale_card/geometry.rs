//! Where everything lies on the printed scale card: what the printer draws and the reader looks for.

/// Edge of the marker's black square as designed, mm.
pub const TAG_EDGE_MM: f64 = 20.0;
/// The black square is eight cells wide; its light margin is one more cell on each side.
pub const CELL_MM: f64 = TAG_EDGE_MM / 8.0;
/// The grey patch from the marker's middle, mm: left, top, right, bottom.
pub const PATCH_MM: [f64; 4] = [18.0, -10.0, 36.0, 10.0];
