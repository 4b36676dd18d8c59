//! The pixels and the few facts of a sent file. Sizes are read and checked before anything is allocated for them.

use std::io::Cursor;

use image::ColorType;
use image::ImageDecoder;
use image::codecs::jpeg::JpegDecoder;
use image::codecs::png::PngDecoder;
use image::codecs::webp::WebPDecoder;

use crate::photo::format::Format;
use crate::photo::jpeg_marks;
use crate::photo::limits::Limits;
use crate::photo::limits::Refused;
use crate::photo::metadata::Facts;
use crate::photo::srgb::LARGEST_PROFILE_BYTES;
use crate::photo::turn::Stored;
use crate::photo::webp_size;

/// A sent picture, decoded but neither turned nor converted.
pub(crate) struct Decoded {
    pub stored: Stored,
    pub facts: Facts,
    /// Embedded colour profile, ICC.
    pub profile: Option<Vec<u8>>,
    /// False when part of the picture is missing.
    pub complete: bool,
}

pub(crate) fn decode(bytes: &[u8], format: Format, limits: &Limits) -> Result<Decoded, Refused> {
    match format {
        Format::Jpeg => jpeg(bytes, limits),
        Format::Png => png(bytes, limits),
        Format::WebP => webp(bytes, limits),
        Format::Heic => heic(bytes, limits),
    }
}

#[cfg(feature = "heic")]
fn heic(bytes: &[u8], limits: &Limits) -> Result<Decoded, Refused> {
    crate::photo::heic::decode(bytes, limits)
}

#[cfg(not(feature = "heic"))]
fn heic(_bytes: &[u8], _limits: &Limits) -> Result<Decoded, Refused> {
    Err(Refused::NotAPicture { looks_like: crate::photo::format::LooksLike::Heic })
}

fn jpeg(bytes: &[u8], limits: &Limits) -> Result<Decoded, Refused> {
    let marks = jpeg_marks::read(bytes);
    let decoder = JpegDecoder::new(Cursor::new(bytes)).map_err(|_| Refused::Damaged)?;
    let mut decoded = finish(decoder, limits, marks.bytes_per_pixel)?;
    decoded.complete = marks.ended && !ends_in_filler(&decoded.stored);
    Ok(decoded)
}

/// Rows of the tallest blocks. Filler repeats after as many.
const FILLER_ROWS: usize = 16;
/// The decoder paints rows in this grey when the bytes run out.
const FILLER_GREY: u8 = 128;

/// A cut file to which something glued an end mark. The decoder then repeats its last block downwards, or paints grey: the
/// last rows equal those above to the last bit, which no camera does. Plain bars, as screenshots have them, are not meant.
fn ends_in_filler(stored: &Stored) -> bool {
    let rows = FILLER_ROWS * 3 * stored.width_px as usize;
    let Some((upper, last)) = stored.rgb.len().checked_sub(rows).map(|at| stored.rgb.split_at(at)) else {
        return false;
    };
    if !upper.ends_with(last) {
        return false;
    }
    let plain = last.as_chunks::<3>().0.windows(2).all(|pair| pair[0] == pair[1]);
    let grey = last.iter().all(|value| *value == FILLER_GREY);
    !plain || (grey && upper.iter().any(|value| *value != FILLER_GREY))
}

/// Memory for a PNG's chunks and rows. Compressed profiles are inflated up to this and no further, texts never.
const PNG_CHUNK_BYTES: u64 = 16 << 20;

fn png(bytes: &[u8], limits: &Limits) -> Result<Decoded, Refused> {
    // The header chunk stands first: width and height follow signature, length and name.
    let side =
        |at: usize| -> Option<u32> { Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?)) };
    let (Some(width), Some(height)) = (side(16), side(20)) else {
        return Err(Refused::Damaged);
    };
    limits.allow(width, height, 1.0)?;
    let mut chunks = image::Limits::default();
    chunks.max_alloc = Some(PNG_CHUNK_BYTES);
    chunks.max_image_width = Some(limits.side_px);
    chunks.max_image_height = Some(limits.side_px);
    let decoder = PngDecoder::with_limits(Cursor::new(bytes), chunks).map_err(|_| Refused::Damaged)?;
    let bytes_per_pixel = f64::from(decoder.color_type().bytes_per_pixel()).max(3.0);
    finish(decoder, limits, bytes_per_pixel)
}

fn webp(bytes: &[u8], limits: &Limits) -> Result<Decoded, Refused> {
    // Lossless takes 4 bytes and the output 3 or 4; lossy less.
    const BYTES_PER_PIXEL: f64 = 8.0;
    for (width, height) in webp_size::lossy_frames_px(bytes) {
        limits.allow(width, height, BYTES_PER_PIXEL)?;
    }
    let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(|_| Refused::Damaged)?;
    finish(decoder, limits, BYTES_PER_PIXEL)
}

/// Reads one still picture (of an animation the first) and the facts that go with it.
fn finish<D: ImageDecoder>(
    mut decoder: D,
    limits: &Limits,
    bytes_per_pixel: f64,
) -> Result<Decoded, Refused> {
    let (width_px, height_px) = decoder.dimensions();
    limits.allow(width_px, height_px, bytes_per_pixel)?;
    let facts = Facts::read(decoder.exif_metadata().ok().flatten());
    let profile =
        decoder.icc_profile().ok().flatten().filter(|profile| profile.len() <= LARGEST_PROFILE_BYTES);
    let mut capped = image::Limits::default();
    capped.max_alloc = Some(limits.decode_bytes);
    capped.max_image_width = Some(limits.side_px);
    capped.max_image_height = Some(limits.side_px);
    decoder.set_limits(capped).map_err(|_| Refused::TooLarge { width_px, height_px })?;
    let colour = decoder.color_type();
    let length = usize::try_from(decoder.total_bytes()).map_err(|_| Refused::Damaged)?;
    let mut pixels = vec![0; length];
    decoder.read_image(&mut pixels).map_err(|_| Refused::Damaged)?;
    let rgb = to_rgb(pixels, colour).ok_or(Refused::Damaged)?;
    let stored = Stored { rgb, width_px, height_px, orientation: facts.orientation };
    Ok(Decoded { stored, facts, profile, complete: true })
}

/// Three bytes a pixel, alpha flattened on white, 16-bit cut to 8. `None` for a layout no decoder here gives.
pub(crate) fn to_rgb(pixels: Vec<u8>, colour: ColorType) -> Option<Vec<u8>> {
    match colour {
        ColorType::Rgb8 => Some(pixels),
        ColorType::L8 => Some(spread(&pixels)),
        ColorType::L16 => Some(spread(&high_bytes(pixels))),
        ColorType::La8 => Some(spread(&flattened::<1, 2>(pixels))),
        ColorType::La16 => Some(spread(&flattened::<1, 2>(high_bytes(pixels)))),
        ColorType::Rgba8 => Some(flattened::<3, 4>(pixels)),
        ColorType::Rgb16 => Some(high_bytes(pixels)),
        ColorType::Rgba16 => Some(flattened::<3, 4>(high_bytes(pixels))),
        _ => None,
    }
}

fn spread(grey: &[u8]) -> Vec<u8> {
    grey.iter().flat_map(|value| [*value; 3]).collect()
}

/// Keeps the upper byte of each native-endian 16-bit sample, in place.
fn high_bytes(mut samples: Vec<u8>) -> Vec<u8> {
    let count = samples.len() / 2;
    for at in 0..count {
        let value = u16::from_ne_bytes([samples[2 * at], samples[2 * at + 1]]);
        samples[at] = (value >> 8) as u8;
    }
    samples.truncate(count);
    samples
}

/// Blends `COLOURS` samples with white by the alpha that follows them, in place. `ALL` is `COLOURS` + 1.
fn flattened<const COLOURS: usize, const ALL: usize>(mut pixels: Vec<u8>) -> Vec<u8> {
    let count = pixels.len() / ALL;
    for at in 0..count {
        let alpha = u32::from(pixels[ALL * at + COLOURS]);
        for colour in 0..COLOURS {
            let value = u32::from(pixels[ALL * at + colour]);
            let blended = (value * alpha + 255 * (255 - alpha) + 127) / 255;
            pixels[COLOURS * at + colour] = blended as u8;
        }
    }
    pixels.truncate(count * COLOURS);
    pixels
}

#[cfg(test)]
mod tests {
    use image::metadata::Orientation;

    use super::*;

    #[test]
    fn alpha_is_flattened_on_white() {
        let pixels = vec![200, 0, 0, 255, 200, 0, 0, 0, 200, 0, 0, 128];
        let flat = to_rgb(pixels, ColorType::Rgba8).unwrap();
        assert_eq!(flat, [200, 0, 0, 255, 255, 255, 227, 127, 127]);
    }

    #[test]
    fn grey_becomes_three_equal_samples() {
        assert_eq!(to_rgb(vec![7, 9], ColorType::L8).unwrap(), [7, 7, 7, 9, 9, 9]);
        assert_eq!(to_rgb(vec![7, 0], ColorType::La8).unwrap(), [255, 255, 255]);
    }

    #[test]
    fn sixteen_bits_keep_their_upper_half() {
        let sample = |value: u16| value.to_ne_bytes();
        let pixels = [sample(0x1234), sample(0xFFFF), sample(0x00FF)].concat();
        assert_eq!(to_rgb(pixels, ColorType::Rgb16).unwrap(), [0x12, 0xFF, 0]);
    }

    fn ends(rows: &[(usize, [u8; 6])]) -> bool {
        let rgb: Vec<u8> = rows.iter().flat_map(|(count, row)| row.repeat(*count)).collect();
        let height_px = (rgb.len() / 6) as u32;
        ends_in_filler(&Stored { rgb, width_px: 2, height_px, orientation: Orientation::NoTransforms })
    }

    #[test]
    fn blocks_repeated_downwards_are_filler() {
        let picture = |rows: usize| (rows, [1, 2, 3, 4, 5, 6]);
        let block = [(8, [9, 9, 9, 8, 8, 8]), (8, [7, 7, 7, 8, 8, 8])];
        assert!(ends(&[picture(10), block[0], block[1], block[0], block[1]]));
        assert!(!ends(&[picture(10), block[0], block[1], block[0], block[0]]));
        assert!(!ends(&[block[0], block[1]]), "too low to tell");
    }

    #[test]
    fn grey_below_a_picture_is_filler_and_a_grey_picture_or_a_plain_bar_is_not() {
        assert!(ends(&[(10, [90; 6]), (32, [FILLER_GREY; 6])]));
        assert!(!ends(&[(42, [FILLER_GREY; 6])]));
        assert!(!ends(&[(10, [90; 6]), (32, [0; 6])]));
    }
}
