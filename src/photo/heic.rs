//! The fallback for phones that do not hand over JPEG.

use image::ColorType;
use image::metadata::Orientation;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_heic::HeifDecoder;

use crate::photo::decode;
use crate::photo::decode::Decoded;
use crate::photo::heic_guard;
use crate::photo::limits::Limits;
use crate::photo::limits::Refused;
use crate::photo::metadata::Facts;
use crate::photo::turn::Stored;

/// A cut file is an error here, never a picture with a grey part: its items end beyond the file.
pub(crate) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Refused> {
    heic_guard::check(bytes, limits)?;
    let side = limits.side_px as usize;
    // One thread: how many photos are worked on at once is bounded by the caller.
    let options = DecoderOptions::default()
        .set_max_width(side)
        .set_max_height(side)
        .set_hevc_max_mdat_size(usize::try_from(limits.bytes).unwrap_or(usize::MAX))
        .set_num_threads(1);
    let mut decoder = HeifDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|_| Refused::Damaged)?;
    let size = |side: Option<usize>| side.and_then(|px| u32::try_from(px).ok()).ok_or(Refused::Damaged);
    let (width_px, height_px) = (size(decoder.width())?, size(decoder.height())?);
    limits.allow(width_px, height_px, heic_guard::BYTES_PER_PIXEL)?;
    let colour = match decoder.colorspace() {
        Some(ColorSpace::RGB) => ColorType::Rgb8,
        Some(ColorSpace::RGBA) => ColorType::Rgba8,
        Some(ColorSpace::Luma) => ColorType::L8,
        Some(ColorSpace::LumaA) => ColorType::La8,
        _ => return Err(Refused::Damaged),
    };
    let pixels = decoder.decode().map_err(|_| Refused::Damaged)?;
    let facts = Facts::read(decoder.exif_data().cloned());
    let profile = decoder.icc_data().cloned();
    let rgb = decode::to_rgb(pixels, colour).ok_or(Refused::Damaged)?;
    // The file's own turning is already applied; the EXIF orientation must then be ignored (ISO/IEC 23008-12, annex A).
    let stored = Stored { rgb, width_px, height_px, orientation: Orientation::NoTransforms };
    Ok(Decoded { stored, facts, profile, complete: true })
}
