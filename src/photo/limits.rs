//! How big a sent file may be, and why a file is turned away.

use crate::photo::format::LooksLike;

/// What may be sent. Sizes are read from the file's header and checked before anything is allocated.
///
/// | limit | default | why |
/// |---|---|---|
/// | `bytes` | 15 MB | a 12-megapixel phone JPEG has 2 to 5 MB; common practice, no source |
/// | `pixels` | 40 million | 24-megapixel phones pass; a 40-megapixel RGB picture needs 120 MB to decode |
/// | `side_px` | 9,000 | panoramas longer than this are not wound photos; common practice, no source |
/// | `decode_bytes` | 256 MiB | memory that decoding one picture may take (not counting the small buffers) |
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    pub bytes: u64,
    pub pixels: u64,
    pub side_px: u32,
    pub decode_bytes: u64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits { bytes: 15_000_000, pixels: 40_000_000, side_px: 9_000, decode_bytes: 256 << 20 }
    }
}

impl Limits {
    /// Refuses a picture of this stored size, when decoding takes `bytes_per_pixel` bytes of memory for each pixel.
    pub(crate) fn allow(&self, width_px: u32, height_px: u32, bytes_per_pixel: f64) -> Result<(), Refused> {
        if width_px == 0 || height_px == 0 {
            return Err(Refused::Damaged);
        }
        let pixels = u64::from(width_px) * u64::from(height_px);
        let too_long = width_px.max(height_px) > self.side_px;
        let too_heavy = pixels as f64 * bytes_per_pixel > self.decode_bytes as f64;
        if too_long || pixels > self.pixels || too_heavy {
            return Err(Refused::TooLarge { width_px, height_px });
        }
        Ok(())
    }
}

/// Why a file does not become a photo. The sentence a person reads is written elsewhere; `code` is stable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// No bytes at all.
    Empty,
    TooManyBytes {
        bytes: u64,
        limit: u64,
    },
    /// The first bytes belong to none of the formats read here.
    NotAPicture {
        looks_like: LooksLike,
    },
    /// More pixels, a longer side or more memory than `Limits` allows.
    TooLarge {
        width_px: u32,
        height_px: u32,
    },
    /// It begins like a picture but cannot be read.
    Damaged,
}

impl Refused {
    /// Stable word for logs and stored rows.
    pub fn code(&self) -> &'static str {
        match self {
            Refused::Empty => "empty",
            Refused::TooManyBytes { .. } => "too_many_bytes",
            Refused::NotAPicture { .. } => "not_a_picture",
            Refused::TooLarge { .. } => "too_large",
            Refused::Damaged => "damaged",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn allowed(width_px: u32, height_px: u32) -> bool {
        Limits::default().allow(width_px, height_px, 3.0).is_ok()
    }

    #[test]
    fn a_side_of_9000_passes_and_9001_does_not() {
        assert!(allowed(9_000, 4_000));
        assert!(!allowed(9_001, 4_000));
        assert!(allowed(4_000, 9_000));
        assert!(!allowed(4_000, 9_001));
    }

    #[test]
    fn forty_megapixels_pass_and_one_row_more_does_not() {
        assert!(allowed(8_000, 5_000));
        assert!(!allowed(8_000, 5_001));
    }

    #[test]
    fn memory_for_decoding_is_refused_only_above_the_limit() {
        let limits = Limits { decode_bytes: 1_000, ..Limits::default() };
        assert_eq!(limits.allow(10, 10, 10.0), Ok(()));
        assert_eq!(limits.allow(10, 10, 10.1), Err(Refused::TooLarge { width_px: 10, height_px: 10 }));
    }

    #[test]
    fn a_picture_without_area_is_damaged() {
        assert_eq!(Limits::default().allow(0, 10, 3.0), Err(Refused::Damaged));
        assert_eq!(Limits::default().allow(10, 0, 3.0), Err(Refused::Damaged));
    }
}
