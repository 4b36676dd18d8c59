//! Where everything lies on the printed scale card, and how bright it is: what the printer draws and the reader looks for.
//!
//! Lengths are millimetres of a card printed to size, from its top left corner.

pub const CARD_WIDTH_MM: f64 = 62.0;
pub const CARD_HEIGHT_MM: f64 = 40.0;

/// Edge of the marker's black square.
pub const TAG_EDGE_MM: f64 = 20.0;
/// Top left corner of the black square.
pub const TAG_LEFT_MM: f64 = 8.0;
pub const TAG_TOP_MM: f64 = 10.0;
/// The black square is eight cells wide; its light margin is one more cell on each side.
pub const TAG_CELL_MM: f64 = TAG_EDGE_MM / 8.0;

/// The grey patch that colour and exposure are read from.
pub const PATCH_LEFT_MM: f64 = 36.0;
pub const PATCH_TOP_MM: f64 = 10.0;
pub const PATCH_WIDTH_MM: f64 = 18.0;
pub const PATCH_HEIGHT_MM: f64 = 20.0;

/// Share of light that all that is light on the card sends back, as a share of what white sends back in the same colour
/// space: the ground, the marker's margin and its light cells.
///
/// Light grey and not white: phones expose for skin, and on dark skin they burn white out, which makes black look smaller.
/// Cards printed earlier have a white margin and white cells; they are read as well.
pub const GROUND_REFLECTANCE: f64 = 0.45;
/// Share of light the grey patch sends back: the usual grey of photographers' cards.
pub const PATCH_REFLECTANCE: f64 = 0.18;

/// The grey patch from the marker's middle: left, top, right, bottom.
pub(super) const PATCH_FROM_MARKER_MM: [f64; 4] = [
    PATCH_LEFT_MM - (TAG_LEFT_MM + TAG_EDGE_MM / 2.0),
    PATCH_TOP_MM - (TAG_TOP_MM + TAG_EDGE_MM / 2.0),
    PATCH_LEFT_MM + PATCH_WIDTH_MM - (TAG_LEFT_MM + TAG_EDGE_MM / 2.0),
    PATCH_TOP_MM + PATCH_HEIGHT_MM - (TAG_TOP_MM + TAG_EDGE_MM / 2.0),
];
