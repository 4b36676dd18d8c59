//! A sent file becomes a clean photo: decoded, upright, sRGB, in three sizes, without a trace of its metadata.

pub mod told;

use std::ops::Range;
use std::panic::AssertUnwindSafe;
use std::panic::catch_unwind;

use jiff::civil::DateTime;

use crate::photo::decode;
use crate::photo::decode::Decoded;
use crate::photo::encode;
use crate::photo::format;
use crate::photo::format::Format;
use crate::photo::limits::Limits;
use crate::photo::limits::Refused;
use crate::photo::quality::Quality;
use crate::photo::quality::QualityFlag;
use crate::photo::rendition;
use crate::photo::rendition::FULL_PX;
use crate::photo::rendition::QUALITY;
use crate::photo::rendition::REVIEW_PX;
use crate::photo::rendition::Rendition;
use crate::photo::rendition::SMALL_PX;
use crate::photo::shrink::Shrinker;
use crate::photo::srgb::ToSrgb;
use crate::photo::turn;
use crate::photo::turn::BAND_ROWS;
use crate::photo::turn::Stored;
use crate::photo::turn::UprightRows;

/// A photo fit to be stored and shown.
///
/// Invariant: only `clean` makes one, here or in a process of its own (`told`), so every stored picture is a fresh encoding of
/// pixels that holds nothing else.
#[derive(Clone, Debug, PartialEq)]
pub struct CleanPhoto {
    full: Rendition,
    review: Rendition,
    small: Rendition,
    sent_sha256: String,
    sent_px: (u32, u32),
    format: Format,
    quality: Quality,
    capture_time: Option<DateTime>,
    focal_35mm: Option<f64>,
}

impl CleanPhoto {
    /// Longest side at most `FULL_PX`; the largest that is kept.
    pub fn full(&self) -> &Rendition {
        &self.full
    }

    /// Longest side at most `REVIEW_PX`; shown to the surgeon and measured.
    pub fn review(&self) -> &Rendition {
        &self.review
    }

    /// Longest side at most `SMALL_PX`, cut from the review rendition.
    pub fn small(&self) -> &Rendition {
        &self.small
    }

    /// The three renditions, full, review and small, for whoever stores them.
    pub fn into_renditions(self) -> (Rendition, Rendition, Rendition) {
        (self.full, self.review, self.small)
    }

    /// SHA-256 of the bytes as sent, 64 lower-case hex digits: tells a photo sent twice.
    pub fn sent_sha256(&self) -> &str {
        &self.sent_sha256
    }

    /// Width of the sent photo as it is seen (turned upright), px.
    pub fn sent_width_px(&self) -> u32 {
        self.sent_px.0
    }

    /// Height of the sent photo as it is seen (turned upright), px.
    pub fn sent_height_px(&self) -> u32 {
        self.sent_px.1
    }

    /// What was sent; what is kept is always JPEG.
    pub fn format(&self) -> Format {
        self.format
    }

    /// The numbers behind `flags`.
    pub fn quality(&self) -> &Quality {
        &self.quality
    }

    /// What is wrong with the photo; empty for a good one.
    pub fn flags(&self) -> Vec<QualityFlag> {
        self.quality.flags()
    }

    /// Local time on the camera's clock. `None` when the file does not say.
    pub fn capture_time(&self) -> Option<DateTime> {
        self.capture_time
    }

    /// Focal length as if on 35 mm film, mm. `None` when the file does not say.
    pub fn focal_35mm(&self) -> Option<f64> {
        self.focal_35mm
    }
}

/// What a file says it is, as far as its length and first bytes tell. Nothing of it is decoded: what is no picture here need not be
/// given to a process of its own.
pub fn begins_as(bytes: &[u8], limits: &Limits) -> Result<Format, Refused> {
    if bytes.is_empty() {
        return Err(Refused::Empty);
    }
    let size = bytes.len() as u64;
    if size > limits.bytes {
        return Err(Refused::TooManyBytes { bytes: size, limit: limits.bytes });
    }
    format::sniff(bytes).ok_or_else(|| Refused::NotAPicture { looks_like: format::looks_like(bytes) })
}

/// Makes a clean photo of what was sent, or says why not. Never panics and reads no more of a file than its limits allow.
///
/// Takes about 0.3 s of one core and 57 MiB for 12 megapixels (`benches/intake.rs`): callers bound how many run at once.
pub fn clean(bytes: &[u8], limits: &Limits) -> Result<CleanPhoto, Refused> {
    let format = begins_as(bytes, limits)?;
    // The decoders are other people's code on hostile bytes; should one panic, this one file is damaged and no more.
    let worked = catch_unwind(AssertUnwindSafe(|| {
        let decoded = decode::decode(bytes, format, limits)?;
        keep(bytes, format, decoded)
    }));
    worked.unwrap_or(Err(Refused::Damaged))
}

fn keep(bytes: &[u8], format: Format, decoded: Decoded) -> Result<CleanPhoto, Refused> {
    let Decoded { stored, facts, profile, complete } = decoded;
    let to_srgb = ToSrgb::from_profile(profile.as_deref());
    let sent_px = stored.upright_size_px();
    let full = full(&stored, &to_srgb)?;
    let (rgb, review_px) = review_pixels(&stored, &to_srgb)?;
    drop(stored);
    let quality = Quality::measure(&rgb, review_px.0 as usize, sent_px, complete);
    let same_size = (full.width_px, full.height_px) == review_px;
    let review = if same_size { full.clone() } else { encoded(&rgb, review_px)? };
    Ok(CleanPhoto {
        full,
        review,
        small: small(&rgb, review_px)?,
        sent_sha256: rendition::sha256_hex(bytes),
        sent_px,
        format,
        quality,
        capture_time: facts.capture_time,
        focal_35mm: facts.focal_35mm,
    })
}

/// Encoded while it is being shrunk: its pixels never exist all at once.
fn full(stored: &Stored, to_srgb: &ToSrgb) -> Result<Rendition, Refused> {
    let size = stored.fitted_size_px(FULL_PX);
    let mut upright = UprightRows::new(stored, to_srgb, size);
    let jpeg = encode::jpeg(size, QUALITY, &mut |rows| upright.rows(rows))?;
    Ok(Rendition::new(jpeg, size))
}

fn review_pixels(stored: &Stored, to_srgb: &ToSrgb) -> Result<(Vec<u8>, (u32, u32)), Refused> {
    let size = stored.fitted_size_px(REVIEW_PX);
    let mut upright = UprightRows::new(stored, to_srgb, size);
    let mut rgb = Vec::with_capacity(3 * size.0 as usize * size.1 as usize);
    for at in (0..size.1).step_by(BAND_ROWS as usize) {
        rgb.extend(upright.rows(at..(at + BAND_ROWS).min(size.1))?);
    }
    Ok((rgb, size))
}

fn encoded(rgb: &[u8], size: (u32, u32)) -> Result<Rendition, Refused> {
    let stride = 3 * size.0 as usize;
    let jpeg = encode::jpeg(size, QUALITY, &mut |rows: Range<u32>| {
        Ok(rgb[rows.start as usize * stride..rows.end as usize * stride].to_vec())
    })?;
    Ok(Rendition::new(jpeg, size))
}

fn small(rgb: &[u8], review_px: (u32, u32)) -> Result<Rendition, Refused> {
    let size = turn::fitted(review_px, SMALL_PX);
    encoded(&Shrinker::new(review_px, size).whole(rgb)?, size)
}
