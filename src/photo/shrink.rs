//! Pictures made smaller.

use std::ops::Range;

use fast_image_resize::FilterType;
use fast_image_resize::ResizeAlg;
use fast_image_resize::ResizeOptions;
use fast_image_resize::Resizer;
use fast_image_resize::images::TypedImage;
use fast_image_resize::images::TypedImageRef;
use fast_image_resize::pixels::U8x3;

use crate::photo::limits::Refused;

/// Shrinks RGB pictures of one size to another. Keeps its buffers between calls.
pub(crate) struct Shrinker {
    resizer: Resizer,
    from_px: (u32, u32),
    to_px: (u32, u32),
}

impl Shrinker {
    pub(crate) fn new(from_px: (u32, u32), to_px: (u32, u32)) -> Shrinker {
        Shrinker { resizer: Resizer::new(), from_px, to_px }
    }

    pub(crate) fn whole(&mut self, rgb: &[u8]) -> Result<Vec<u8>, Refused> {
        self.part(rgb, 0..self.to_px.0, 0..self.to_px.1)
    }

    /// A rectangle of the smaller picture. The filter reaches over its edge, so that parts join without a seam.
    pub(crate) fn part(
        &mut self,
        rgb: &[u8],
        columns: Range<u32>,
        lines: Range<u32>,
    ) -> Result<Vec<u8>, Refused> {
        let (width, height) = (columns.end - columns.start, lines.end - lines.start);
        let mut part = vec![0; 3 * width as usize * height as usize];
        let (left, across) = span(&columns, self.to_px.0, self.from_px.0);
        let (top, down) = span(&lines, self.to_px.1, self.from_px.1);
        let how = ResizeOptions::new()
            .resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom))
            .crop(left, top, across, down);
        // Typed pictures: the untyped ones would compile the resizer for every kind of pixel there is.
        let source = TypedImageRef::<U8x3>::from_buffer(self.from_px.0, self.from_px.1, rgb)
            .map_err(|_| Refused::Damaged)?;
        let mut target =
            TypedImage::<U8x3>::from_buffer(width, height, &mut part).map_err(|_| Refused::Damaged)?;
        self.resizer.resize_typed(&source, &mut target, &how).map_err(|_| Refused::Damaged)?;
        Ok(part)
    }
}

/// Where `part` of a side of the smaller picture lies on the larger one: start and length, px.
fn span(part: &Range<u32>, smaller_px: u32, larger_px: u32) -> (f64, f64) {
    let on_larger = |at: u32| f64::from(at) * f64::from(larger_px) / f64::from(smaller_px);
    let start = on_larger(part.start);
    let length = on_larger(part.end) - start;
    // Rounding must not reach beyond the picture by a hair: the resizer refuses that.
    let inside = f64::from(larger_px) - start;
    (start, length.min(inside))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_size_is_a_copy() {
        let rgb: Vec<u8> = (0..3 * 7 * 5).collect();
        assert_eq!(Shrinker::new((7, 5), (7, 5)).whole(&rgb), Ok(rgb));
    }

    #[test]
    fn halving_an_even_picture_of_two_tones_keeps_them() {
        let rgb: Vec<u8> = (0..8 * 8).flat_map(|at| [if at < 32 { 200 } else { 40 }; 3]).collect();
        let half = Shrinker::new((8, 8), (4, 4)).whole(&rgb).unwrap();
        assert_eq!(half.len(), 3 * 4 * 4);
        assert!(half[0].abs_diff(200) < 12 && half[47].abs_diff(40) < 12, "{half:?}");
    }

    #[test]
    fn too_few_pixels_are_refused() {
        assert_eq!(Shrinker::new((8, 8), (4, 4)).whole(&[0; 30]), Err(Refused::Damaged));
    }
}
