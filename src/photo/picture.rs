//! The pixels of a kept rendition, for whoever measures on them.

use image::ImageFormat;

use crate::photo::limits::Refused;
use crate::photo::quality::Quality;

/// An upright sRGB picture, 8 bits a channel.
///
/// Invariant: three bytes for each of `width` × `height` pixels, neither of them 0.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
}

impl Picture {
    /// `None` unless there are exactly three bytes for every pixel, and at least one pixel.
    pub fn new(width: usize, height: usize, rgb: Vec<u8>) -> Option<Picture> {
        let bytes = width.checked_mul(height)?.checked_mul(3)?;
        (bytes > 0 && rgb.len() == bytes).then_some(Picture { width, height, rgb })
    }

    /// Reads back a rendition this program made.
    pub fn from_rendition(jpeg: &[u8]) -> Result<Picture, Refused> {
        let decoded =
            image::load_from_memory_with_format(jpeg, ImageFormat::Jpeg).map_err(|_| Refused::Damaged)?;
        let rgb = decoded.into_rgb8();
        let (width, height) = rgb.dimensions();
        Picture::new(width as usize, height as usize, rgb.into_raw()).ok_or(Refused::Damaged)
    }

    /// Width, px.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height, px.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Mean of the luminance, 0 (black) to 255 (white).
    pub fn mean_luminance(&self) -> f64 {
        let size = (self.width as u32, self.height as u32);
        Quality::measure(&self.rgb, self.width, size, true).mean_luminance
    }

    /// Rows from the top, three bytes a pixel.
    pub fn rgb(&self) -> &[u8] {
        &self.rgb
    }
}

/// Share of full light (0–1) for each 8-bit sRGB level (IEC 61966-2-1 transfer curve).
pub fn linear_light() -> &'static [f32; 256] {
    static TABLE: std::sync::LazyLock<[f32; 256]> = std::sync::LazyLock::new(|| {
        std::array::from_fn(|level| {
            let encoded = level as f64 / 255.0;
            let linear =
                if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) };
            linear as f32
        })
    });
    &TABLE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_has_three_bytes_for_every_pixel() {
        assert!(Picture::new(2, 2, vec![0; 12]).is_some());
        assert!(Picture::new(2, 2, vec![0; 11]).is_none());
        assert!(Picture::new(0, 2, Vec::new()).is_none());
        assert!(Picture::new(usize::MAX, 2, Vec::new()).is_none());
    }

    #[test]
    fn bytes_that_are_no_jpeg_are_damaged() {
        assert_eq!(Picture::from_rendition(b"nothing").err(), Some(Refused::Damaged));
    }

    /// 118 is the well-known level of an 18 % grey card.
    #[test]
    fn levels_become_light_along_the_srgb_curve() {
        let table = linear_light();
        assert_eq!((table[0], table[255]), (0.0, 1.0));
        assert!((table[118] - 0.18).abs() < 0.002);
    }
}
