//! A painter of test pictures: skin, wound, scale card and camera by our own formulas, with the exact truth beside them.
//!
//! `Wish` says what is to be seen; `paint` paints it. The same wish gives the same bytes. Painted pictures know their
//! geometry exactly; their colours are physics by rule of thumb: good figures here are necessary, not sufficient. Not
//! painted: curved limbs, depth, lens distortion, a phone's local tone mapping.
#![allow(dead_code, unused_imports, reason = "each test binary asks only for some of the pictures")]

mod bed;
mod camera;
mod card;
mod cases;
mod chance;
mod colour;
mod field;
mod file;
mod frame;
mod layers;
mod lens;
mod light;
mod reckon;
mod scene;
mod sensor;
mod shape;
mod skin;
mod strokes;
mod surface;
mod truth;
mod wish;

pub use cases::Case;
pub use cases::SWEEPS;
pub use cases::awkward;
pub use cases::sweep;
pub use colour::Tone;
pub use frame::Frame;
pub use scene::Scene;
pub use truth::Truth;
pub use wish::BedKind;
pub use wish::CardState;
pub use wish::Ground;
pub use wish::Pen;
pub use wish::Profile;
pub use wish::Rim;
pub use wish::Wish;

/// A painted picture and what is true of it.
pub struct Painted {
    pub width: usize,
    pub height: usize,
    /// Rows from the top, three bytes a pixel, sRGB.
    pub rgb: Vec<u8>,
    pub truth: Truth,
}

impl Painted {
    /// As a phone would hand it over, with the focal length in its metadata.
    pub fn jpeg(&self) -> Vec<u8> {
        file::jpeg(self)
    }
}

/// Paints a wish; `longest_px` is the longer side of the picture, of shape 4 : 3.
pub fn paint(wish: &Wish, longest_px: usize) -> Painted {
    let scene = Scene::build(wish, longest_px);
    let mut frame = surface::paint_light(&scene);
    let gain = sensor::exposure_gain(&frame, wish.exposure_ev);
    frame.multiply(gain);
    lens::blur(&mut frame, wish, longest_px);
    let rgb = sensor::develop(&frame, wish);
    let truth = Truth::of(&scene, gain);
    Painted { width: frame.width, height: frame.height, rgb, truth }
}
