//! The three sizes a photo is kept in.

use std::fmt;

use data_encoding::HEXLOWER;
use sha2::Digest;
use sha2::Sha256;

use crate::photo::turn;

/// Longest side of the full rendition, px: what a surgeon zooms into.
pub const FULL_PX: u32 = 4_000;
/// Longest side of the review rendition, px: what is shown and measured.
pub const REVIEW_PX: u32 = 1_600;
/// Longest side of the small rendition, px: the thumbnail in lists.
pub const SMALL_PX: u32 = 320;

/// JPEG quality of all renditions. Measuring on q85 renditions changed nothing, q70 cost accuracy (own measurement on
/// drawn pictures); 88 leaves a margin, as the sent file is not kept.
pub(crate) const QUALITY: u8 = 88;

/// Size of the review rendition of a picture whose full rendition has this size, px; exact to one pixel.
pub fn review_size_px(full_px: (u32, u32)) -> (u32, u32) {
    turn::fitted(full_px, REVIEW_PX)
}

/// One size of a photo: an upright sRGB JPEG without metadata.
#[derive(Clone, PartialEq, Eq)]
pub struct Rendition {
    pub jpeg: Vec<u8>,
    pub width_px: u32,
    pub height_px: u32,
    /// SHA-256 of `jpeg`, 64 lower-case hex digits.
    pub sha256: String,
}

impl Rendition {
    pub(crate) fn new(jpeg: Vec<u8>, (width_px, height_px): (u32, u32)) -> Rendition {
        let sha256 = sha256_hex(&jpeg);
        Rendition { jpeg, width_px, height_px, sha256 }
    }
}

/// A picture of a wound does not belong in a log: only its size is shown.
impl fmt::Debug for Rendition {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "Rendition({}x{}, {} bytes)", self.width_px, self.height_px, self.jpeg.len())
    }
}

/// SHA-256, 64 lower-case hex digits.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_review_rendition_has_a_longest_side_of_1600() {
        assert_eq!(review_size_px((4_000, 3_000)), (1_600, 1_200));
        assert_eq!(review_size_px((1_536, 2_048)), (1_200, 1_600));
        assert_eq!(review_size_px((1_600, 900)), (1_600, 900));
    }

    #[test]
    fn the_digest_agrees_with_the_standard() {
        // FIPS 180-4 example: SHA-256 of "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_hex(b"abc"), expected);
    }
}
