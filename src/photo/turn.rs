//! A shrunken, upright picture, produced some rows at a time so that the big picture is never copied whole.

use std::ops::Range;

use image::metadata::Orientation;

use crate::photo::limits::Refused;
use crate::photo::shrink::Shrinker;
use crate::photo::srgb::ToSrgb;

/// Rows made at once. Measured on 12 megapixels: 256 rows take half the time of the whole picture at once and a
/// quarter of that of 16 rows (the resizer filters vertically first, into a buffer of this height).
pub(crate) const BAND_ROWS: u32 = 256;

/// A decoded picture as it is stored in the file: not turned, its own colours, three bytes a pixel.
pub(crate) struct Stored {
    pub rgb: Vec<u8>,
    pub width_px: u32,
    pub height_px: u32,
    pub orientation: Orientation,
}

impl Stored {
    /// Width and height as the picture is seen, px.
    pub(crate) fn upright_size_px(&self) -> (u32, u32) {
        if swaps_sides(self.orientation) {
            (self.height_px, self.width_px)
        } else {
            (self.width_px, self.height_px)
        }
    }

    /// The size whose longest side is at most `longest_px`, never larger than the picture is.
    pub(crate) fn fitted_size_px(&self, longest_px: u32) -> (u32, u32) {
        fitted(self.upright_size_px(), longest_px)
    }
}

/// `size` shrunk so that its longest side is at most `longest_px`; unchanged when it is already.
pub(crate) fn fitted((width, height): (u32, u32), longest_px: u32) -> (u32, u32) {
    let longest = width.max(height);
    if longest <= longest_px {
        return (width, height);
    }
    let scaled = |side: u32| {
        let rounded =
            (u64::from(side) * u64::from(longest_px) + u64::from(longest) / 2) / u64::from(longest.max(1));
        u32::try_from(rounded).unwrap_or(longest_px).clamp(1, longest_px)
    };
    (scaled(width), scaled(height))
}

/// Makes rows of one rendition: cut out and shrunk from the stored picture, brought to sRGB, then turned.
pub(crate) struct UprightRows<'a> {
    stored: &'a Stored,
    to_srgb: &'a ToSrgb,
    shrinker: Shrinker,
    /// Size of the rendition as stored, that is, before turning.
    width_px: u32,
    height_px: u32,
}

impl<'a> UprightRows<'a> {
    /// Rows of a rendition of `size_px` (as seen), which must come from `Stored::fitted_size_px`.
    pub(crate) fn new(stored: &'a Stored, to_srgb: &'a ToSrgb, size_px: (u32, u32)) -> UprightRows<'a> {
        let (width_px, height_px) =
            if swaps_sides(stored.orientation) { (size_px.1, size_px.0) } else { size_px };
        let shrinker = Shrinker::new((stored.width_px, stored.height_px), (width_px, height_px));
        UprightRows { stored, to_srgb, shrinker, width_px, height_px }
    }

    /// The given rows of the upright rendition, three bytes a pixel.
    pub(crate) fn rows(&mut self, rows: Range<u32>) -> Result<Vec<u8>, Refused> {
        let orientation = self.stored.orientation;
        let (columns, lines) = match orientation {
            Orientation::NoTransforms | Orientation::FlipHorizontal => (0..self.width_px, rows),
            Orientation::Rotate180 | Orientation::FlipVertical => {
                (0..self.width_px, from_the_end(rows, self.height_px))
            }
            Orientation::Rotate90 | Orientation::Rotate90FlipH => (rows, 0..self.height_px),
            Orientation::Rotate270 | Orientation::Rotate270FlipH => {
                (from_the_end(rows, self.width_px), 0..self.height_px)
            }
        };
        let (width, height) = (columns.len(), lines.len());
        let mut strip = self.shrinker.part(&self.stored.rgb, columns, lines)?;
        self.to_srgb.apply(&mut strip);
        Ok(turned(strip, width, height, orientation))
    }
}

fn from_the_end(part: Range<u32>, whole: u32) -> Range<u32> {
    whole - part.end..whole - part.start
}

fn swaps_sides(orientation: Orientation) -> bool {
    match orientation {
        Orientation::NoTransforms
        | Orientation::Rotate180
        | Orientation::FlipHorizontal
        | Orientation::FlipVertical => false,
        Orientation::Rotate90
        | Orientation::Rotate270
        | Orientation::Rotate90FlipH
        | Orientation::Rotate270FlipH => true,
    }
}

/// `rgb` of `width` × `height` pixels, turned as `orientation` says.
fn turned(mut rgb: Vec<u8>, width: usize, height: usize, orientation: Orientation) -> Vec<u8> {
    let (right, bottom) = (width.saturating_sub(1), height.saturating_sub(1));
    match orientation {
        Orientation::NoTransforms => rgb,
        Orientation::Rotate180 => {
            rgb.as_chunks_mut::<3>().0.reverse();
            rgb
        }
        Orientation::FlipHorizontal => {
            rgb.as_chunks_mut::<3>().0.chunks_exact_mut(width.max(1)).for_each(<[[u8; 3]]>::reverse);
            rgb
        }
        Orientation::FlipVertical => {
            let stride = 3 * width.max(1);
            rgb.chunks_exact(stride).rev().flatten().copied().collect()
        }
        Orientation::Rotate90 => swapped(&rgb, width, height, |x, y| (y, bottom - x)),
        Orientation::Rotate90FlipH => swapped(&rgb, width, height, |x, y| (y, x)),
        Orientation::Rotate270 => swapped(&rgb, width, height, |x, y| (right - y, x)),
        Orientation::Rotate270FlipH => swapped(&rgb, width, height, |x, y| (right - y, bottom - x)),
    }
}

/// Turns with sides swapped. `from` gives, for a column and row of the result, the column and row to take.
/// Works tile by tile so that each line of cache is fetched once.
fn swapped(
    rgb: &[u8],
    width: usize,
    height: usize,
    from: impl Fn(usize, usize) -> (usize, usize),
) -> Vec<u8> {
    const TILE: usize = 32;
    let mut out = vec![0; rgb.len()];
    let source = rgb.as_chunks::<3>().0;
    let target = out.as_chunks_mut::<3>().0;
    for tile_y in (0..width).step_by(TILE) {
        for tile_x in (0..height).step_by(TILE) {
            let last_x = (tile_x + TILE).min(height);
            for y in tile_y..(tile_y + TILE).min(width) {
                let row = &mut target[y * height + tile_x..y * height + last_x];
                for (x, pixel) in (tile_x..last_x).zip(row) {
                    let (column, line) = from(x, y);
                    *pixel = source[line * width + column];
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use image::DynamicImage;
    use image::RgbImage;
    use proptest::prelude::*;

    use super::*;

    const ALL: [Orientation; 8] = [
        Orientation::NoTransforms,
        Orientation::FlipHorizontal,
        Orientation::Rotate180,
        Orientation::FlipVertical,
        Orientation::Rotate90FlipH,
        Orientation::Rotate90,
        Orientation::Rotate270FlipH,
        Orientation::Rotate270,
    ];

    fn numbered(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, y| image::Rgb([x as u8, y as u8, (x * 7 + y * 13) as u8]))
    }

    #[test]
    fn turning_agrees_with_the_image_library_for_every_orientation() {
        for orientation in ALL {
            for (width, height) in [(1, 1), (5, 3), (33, 70), (100, 31)] {
                let picture = numbered(width, height);
                let mut expected = DynamicImage::ImageRgb8(picture.clone());
                expected.apply_orientation(orientation);
                let got = turned(picture.into_raw(), width as usize, height as usize, orientation);
                assert_eq!(got, expected.into_bytes(), "{orientation:?} {width}x{height}");
            }
        }
    }

    fn all_rows(stored: &Stored, longest_px: u32, band: u32) -> Vec<u8> {
        let size = stored.fitted_size_px(longest_px);
        let mut upright = UprightRows::new(stored, &ToSrgb::Unchanged, size);
        let bands = (0..size.1).step_by(band as usize);
        bands.flat_map(|at| upright.rows(at..(at + band).min(size.1)).unwrap()).collect()
    }

    #[test]
    fn bands_join_into_the_same_picture_as_all_rows_at_once() {
        for orientation in ALL {
            let stored =
                Stored { rgb: numbered(203, 151).into_raw(), width_px: 203, height_px: 151, orientation };
            for longest in [97, 203] {
                let whole = all_rows(&stored, longest, 10_000);
                let banded = all_rows(&stored, longest, 16);
                let worst = whole.iter().zip(&banded).map(|(a, b)| a.abs_diff(*b)).max();
                assert_eq!(whole.len(), banded.len());
                assert!(worst <= Some(1), "{orientation:?}: {worst:?}");
            }
        }
    }

    proptest! {
        #[test]
        fn a_fitted_size_never_exceeds_the_limit_nor_the_picture(
            width in 1u32..9_001, height in 1u32..9_001, limit in 1u32..5_000,
        ) {
            let (w, h) = fitted((width, height), limit);
            prop_assert!(w >= 1 && h >= 1 && w <= width && h <= height && w.max(h) <= limit.max(1));
            prop_assert!(w.max(h) == limit.min(width.max(height)));
        }
    }
}
