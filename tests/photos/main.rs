//! What becomes of a picture: cleaned, in its colours, harmless, and telling nothing.

#[path = "../photo_samples/mod.rs"]
mod photo_samples;

mod clean;
mod colour;
mod hostile;
mod private;
