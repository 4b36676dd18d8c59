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
    // One thread for tiles: how many photos are worked on at once is bounded by the caller.
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
    let pixels = on_one_processor(|| decoder.decode()).map_err(|_| Refused::Damaged)?;
    let facts = Facts::read(decoder.exif_data().cloned());
    let profile = decoder.icc_data().cloned();
    let rgb = decode::to_rgb(pixels, colour).ok_or(Refused::Damaged)?;
    // The file's own turning is already applied; the EXIF orientation must then be ignored (ISO/IEC 23008-12, annex A).
    let stored = Stored { rgb, width_px, height_px, orientation: Orientation::NoTransforms };
    Ok(Decoded { stored, facts, profile, complete: true })
}

/// The decoder (zune-heic 0.5.0) has as many threads for the rows of one picture as there are processors, whatever it is told, and where
/// one of them falls over on a damaged picture, the others wait for it for ever. On one processor it makes none, and falls over
/// where that is caught.
fn on_one_processor<T>(work: impl FnOnce() -> T) -> T {
    #[cfg(target_os = "linux")]
    let _alone = OneProcessor::begin();
    work()
}

/// This thread stays on the processor it is on, until this is dropped.
#[cfg(target_os = "linux")]
struct OneProcessor {
    /// Where it could be before; `None`: the system did not say, and nothing was changed.
    before: Option<rustix::thread::CpuSet>,
}

#[cfg(target_os = "linux")]
impl OneProcessor {
    fn begin() -> OneProcessor {
        let before = rustix::thread::sched_getaffinity(None).ok();
        let mut one = rustix::thread::CpuSet::new();
        one.set(rustix::thread::sched_getcpu());
        let pinned = before.filter(|_| rustix::thread::sched_setaffinity(None, &one).is_ok());
        OneProcessor { before: pinned }
    }
}

#[cfg(target_os = "linux")]
impl Drop for OneProcessor {
    fn drop(&mut self) {
        if let Some(before) = &self.before {
            let _ = rustix::thread::sched_setaffinity(None, before);
        }
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn while_it_decodes_there_is_one_processor_and_then_all_of_them_again_also_after_a_fall() {
        let count = || std::thread::available_parallelism().unwrap().get();
        let before = count();
        assert_eq!(on_one_processor(count), 1);
        assert_eq!(count(), before);
        let fell = std::panic::catch_unwind(|| on_one_processor(|| panic!("made to fall")));
        assert!(fell.is_err());
        assert_eq!(count(), before);
    }
}
