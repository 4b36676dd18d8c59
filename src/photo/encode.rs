//! A picture written as a fresh JPEG, fed some rows at a time. Nothing of the sent file passes but its pixels.

use std::cell::RefCell;
use std::ops::Range;

use jpeg_encoder::Encoder;
use jpeg_encoder::ImageBuffer;
use jpeg_encoder::JpegColorType;
use jpeg_encoder::SamplingFactor;

use crate::photo::limits::Refused;
use crate::photo::turn::BAND_ROWS;

/// Gives some rows of a picture, three bytes a pixel. Not generic: the encoder would be compiled once for each kind.
pub(crate) type Rows<'a> = dyn FnMut(Range<u32>) -> Result<Vec<u8>, Refused> + 'a;

/// Writes `size_px` pixels, asking `rows` for RGB rows from top to bottom.
pub(crate) fn jpeg(size_px: (u32, u32), quality: u8, rows: &mut Rows<'_>) -> Result<Vec<u8>, Refused> {
    let (Ok(width), Ok(height)) = (u16::try_from(size_px.0), u16::try_from(size_px.1)) else {
        return Err(Refused::Damaged);
    };
    let mut written = Vec::new();
    let mut encoder = Encoder::new(&mut written, quality);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    let feed =
        Feed { width, height, band: RefCell::new(Band { first: 0, rgb: Vec::new(), rows, failed: None }) };
    encoder.encode_image(&feed).map_err(|_| Refused::Damaged)?;
    match feed.band.into_inner().failed {
        Some(refused) => Err(refused),
        None => Ok(written),
    }
}

/// What the encoder reads from. It asks for one row after the other, behind a shared reference.
struct Feed<'a, 'r> {
    width: u16,
    height: u16,
    band: RefCell<Band<'a, 'r>>,
}

struct Band<'a, 'r> {
    /// Row of the picture that `rgb` starts with.
    first: usize,
    rgb: Vec<u8>,
    rows: &'a mut Rows<'r>,
    /// The encoder cannot be told to stop; what went wrong is kept until it is done.
    failed: Option<Refused>,
}

impl Band<'_, '_> {
    /// Makes sure row `y` is there. `false` when it cannot be had.
    fn reach(&mut self, y: usize, width: usize, height: usize) -> bool {
        let stride = 3 * width;
        if self.failed.is_some() {
            return false;
        }
        let there = self.first..self.first + self.rgb.len() / stride;
        if there.contains(&y) {
            return true;
        }
        let first = y - y % BAND_ROWS as usize;
        let last = (first + BAND_ROWS as usize).min(height);
        // The old band is freed before the new one is made.
        self.rgb = Vec::new();
        match (self.rows)(first as u32..last as u32) {
            Ok(rgb) if rgb.len() == (last - first) * stride => {
                self.first = first;
                self.rgb = rgb;
                true
            }
            Ok(_) => {
                self.failed = Some(Refused::Damaged);
                false
            }
            Err(refused) => {
                self.failed = Some(refused);
                false
            }
        }
    }
}

impl ImageBuffer for &Feed<'_, '_> {
    fn get_jpeg_color_type(&self) -> JpegColorType {
        JpegColorType::Ycbcr
    }

    fn width(&self) -> u16 {
        self.width
    }

    fn height(&self) -> u16 {
        self.height
    }

    /// Luma for every pixel. Chroma is averaged over two by two pixels here, as the encoder keeps one sample of four and
    /// would take the first: that is cheaper than averaging afterwards, and colour edges stay in their place.
    fn fill_buffers(&self, y: u16, buffers: &mut [Vec<u8>; 4]) {
        let (width, height, y) = (usize::from(self.width), usize::from(self.height), usize::from(y));
        let [luma, blue, red, _] = buffers;
        let mut band = self.band.borrow_mut();
        if !band.reach(y, width, height) {
            for plane in [luma, blue, red] {
                plane.resize(plane.len() + width, 128);
            }
            return;
        }
        let line = |row: usize| {
            let start = (row - band.first) * width * 3;
            &band.rgb[start..start + width * 3]
        };
        let upper = line(y);
        luma.extend(upper.as_chunks::<3>().0.iter().map(luma_of));
        if y % 2 == 1 {
            // The row above has averaged this one in already. The encoder repeats the last row to fill its last blocks,
            // so the samples must be there even where it usually looks only at every other row.
            for plane in [blue, red] {
                repeat_row(plane, width);
            }
            return;
        }
        // Bands hold an even number of rows, so a row's partner is in the same band.
        let lower = if y + 1 < height { line(y + 1) } else { upper };
        chroma(upper, lower, width, blue, red);
    }
}

/// Appends the row above once more. The encoder fills rows up to whole blocks of 16.
fn repeat_row(plane: &mut Vec<u8>, width: usize) {
    match plane.len().checked_sub(width.next_multiple_of(16)) {
        Some(above) => plane.extend_from_within(above..above + width),
        None => plane.resize(plane.len() + width, 128),
    }
}

/// ITU-T T.871 (JFIF), scaled by 65,536.
fn luma_of([r, g, b]: &[u8; 3]) -> u8 {
    ((19_595 * u32::from(*r) + 38_470 * u32::from(*g) + 7_471 * u32::from(*b) + 0x8000) >> 16) as u8
}

/// Appends one pair of chroma samples for every two columns of the two rows, each written twice.
fn chroma(upper: &[u8], lower: &[u8], width: usize, blue: &mut Vec<u8>, red: &mut Vec<u8>) {
    let start = blue.len();
    blue.resize(start + width, 128);
    red.resize(start + width, 128);
    let pairs = upper.as_chunks::<6>().0.iter().zip(lower.as_chunks::<6>().0);
    let blues = blue[start..].as_chunks_mut::<2>().0;
    let reds = red[start..].as_chunks_mut::<2>().0;
    for (((above, below), blue), red) in pairs.zip(blues).zip(reds) {
        let sum = |at: usize| {
            i32::from(above[at]) + i32::from(above[at + 3]) + i32::from(below[at]) + i32::from(below[at + 3])
        };
        let (b, r) = chroma_of(sum(0), sum(1), sum(2));
        *blue = [b; 2];
        *red = [r; 2];
    }
    if width % 2 == 1 {
        let last = 3 * (width - 1);
        let sum = |at: usize| 2 * (i32::from(upper[last + at]) + i32::from(lower[last + at]));
        let (b, r) = chroma_of(sum(0), sum(1), sum(2));
        blue[start + width - 1] = b;
        red[start + width - 1] = r;
    }
}

/// Chroma of the sum of four pixels: ITU-T T.871 scaled by 65,536, and by 4 for the sum.
fn chroma_of(r: i32, g: i32, b: i32) -> (u8, u8) {
    const HALF_AND_OFFSET: i32 = (128 << 18) + (1 << 17) - 1;
    let blue = -11_059 * r - 21_709 * g + 32_768 * b + HALF_AND_OFFSET;
    let red = 32_768 * r - 27_439 * g - 5_329 * b + HALF_AND_OFFSET;
    ((blue >> 18) as u8, (red >> 18) as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written_and_read(size: (u32, u32), pixel: impl Fn(u32, u32) -> [u8; 3]) -> image::RgbImage {
        let bytes = jpeg(size, 90, &mut |rows| {
            let (columns, pixel) = (size.0, &pixel);
            Ok(rows.flat_map(|y| (0..columns).flat_map(move |x| pixel(x, y))).collect())
        });
        image::load_from_memory(&bytes.unwrap()).unwrap().into_rgb8()
    }

    #[test]
    fn colours_survive_at_odd_and_even_sizes() {
        for size in [(1, 1), (2, 2), (7, 5), (16, 16), (17, 300), (33, 258), (64, 257)] {
            for colour in [[200, 40, 50], [255, 255, 255], [0, 0, 0], [20, 90, 250], [0, 255, 0]] {
                let back = written_and_read(size, |_, _| colour);
                assert_eq!(back.dimensions(), size);
                let worst = back.pixels().flat_map(|p| [0, 1, 2].map(|i| p.0[i].abs_diff(colour[i]))).max();
                assert!(worst <= Some(4), "{size:?} {colour:?}: off by {worst:?}");
            }
        }
    }

    #[test]
    fn rows_stay_in_their_order_across_bands() {
        let back = written_and_read((40, 600), |_, y| [(y / 3) as u8; 3]);
        for y in 0..600 {
            assert!(back.get_pixel(20, y).0[1].abs_diff((y / 3) as u8) <= 3, "row {y}");
        }
    }

    #[test]
    fn rows_that_cannot_be_had_or_are_too_few_are_refused() {
        assert_eq!(jpeg((8, 8), 90, &mut |_| Err(Refused::Empty)), Err(Refused::Empty));
        assert_eq!(jpeg((8, 8), 90, &mut |_| Ok(vec![0; 5])), Err(Refused::Damaged));
        assert_eq!(jpeg((70_000, 8), 90, &mut |_| Ok(vec![])), Err(Refused::Damaged));
    }
}
