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

/// The decoder paints rows whose data are missing in exactly this grey.
const FILLER: u8 = 128;
/// Rows of one JPEG block: less than this is never missing alone.
const FILLER_ROWS: usize = 8;

/// A cut file to which something appended an end marker: its last rows are filler while others are not.
fn ends_in_filler(stored: &Stored) -> bool {
    let last = FILLER_ROWS * 3 * stored.width_px as usize;
    let Some(split) = stored.rgb.len().checked_sub(last) else {
        return false;
    };
    let (upper, lower) = stored.rgb.split_at(split);
    lower.iter().all(|value| *value == FILLER) && upper.iter().any(|value| *value != FILLER)
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

    #[test]
    fn filler_at_the_bottom_is_seen_unless_the_whole_picture_is_grey() {
        let picture = |top: u8, bottom_rows: usize| {
            let rgb = [vec![top; 3 * 4 * (20 - bottom_rows)], vec![FILLER; 3 * 4 * bottom_rows]].concat();
            Stored { rgb, width_px: 4, height_px: 20, orientation: Orientation::NoTransforms }
        };
        assert!(ends_in_filler(&picture(90, 8)));
        assert!(!ends_in_filler(&picture(90, 7)));
        assert!(!ends_in_filler(&picture(FILLER, 8)));
    }
}
