//! The few facts taken from a photo's EXIF block before it is thrown away.

use exif::Exif;
use exif::In;
use exif::Reader;
use exif::Tag;
use exif::Value;
use image::metadata::Orientation;
use jiff::civil::DateTime;

/// EXIF blocks above this are not read. A JPEG cannot carry more than 64 KB in one; PNG and WebP can.
const LARGEST_EXIF_BYTES: usize = 1 << 20;

/// What is kept of the metadata. Everything else (place, device, owner, thumbnail) is dropped unread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Facts {
    /// How the stored picture must be turned; unturned when EXIF says nothing readable.
    pub orientation: Orientation,
    /// Local time on the camera's clock, no zone. `None` when absent or not a date.
    pub capture_time: Option<DateTime>,
    /// Focal length as if on 35 mm film, mm. `None` when absent or written as 0 (unknown).
    pub focal_35mm: Option<f64>,
}

impl Facts {
    pub(crate) const NONE: Facts =
        Facts { orientation: Orientation::NoTransforms, capture_time: None, focal_35mm: None };

    /// Reads an EXIF block (TIFF structure, with or without the `Exif` prefix). Errors leave facts unknown.
    pub(crate) fn read(block: Option<Vec<u8>>) -> Facts {
        let Some(mut block) = block.filter(|block| block.len() <= LARGEST_EXIF_BYTES) else {
            return Facts::NONE;
        };
        if block.starts_with(b"Exif\0\0") {
            block.drain(..6);
        }
        let parsed = Reader::new().continue_on_error(true).read_raw(block);
        let Ok(exif) = parsed.or_else(|error| error.distill_partial_result(|_| {})) else {
            return Facts::NONE;
        };
        Facts {
            orientation: orientation(&exif).unwrap_or(Orientation::NoTransforms),
            capture_time: capture_time(&exif),
            focal_35mm: number(&exif, Tag::FocalLengthIn35mmFilm).filter(|mm| *mm > 0).map(f64::from),
        }
    }
}

fn number(exif: &Exif, tag: Tag) -> Option<u32> {
    exif.get_field(tag, In::PRIMARY)?.value.get_uint(0)
}

fn orientation(exif: &Exif) -> Option<Orientation> {
    Orientation::from_exif(u8::try_from(number(exif, Tag::Orientation)?).ok()?)
}

fn capture_time(exif: &Exif) -> Option<DateTime> {
    let Value::Ascii(texts) = &exif.get_field(Tag::DateTimeOriginal, In::PRIMARY)?.value else {
        return None;
    };
    let written = exif::DateTime::from_ascii(texts.first()?).ok()?;
    let part = |number: u8| i8::try_from(number).ok();
    let year = i16::try_from(written.year).ok().filter(|year| *year > 0)?;
    DateTime::new(
        year,
        part(written.month)?,
        part(written.day)?,
        part(written.hour)?,
        part(written.minute)?,
        part(written.second)?,
        0,
    )
    .ok()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    /// A little-endian TIFF block with one directory; entries are (tag, type, count, value or offset).
    fn block(entries: &[(u16, u16, u32, u32)], tail: &[u8]) -> Vec<u8> {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((entries.len() as u16).to_le_bytes());
        for (tag, kind, count, value) in entries {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(kind.to_le_bytes());
            bytes.extend(count.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend([0; 4]);
        bytes.extend(tail);
        bytes
    }

    /// A block whose EXIF directory holds the capture time and the focal length.
    fn with_capture(text: &[u8; 20], focal_mm: u32) -> Vec<u8> {
        let exif_at = 8 + 2 + 12 + 4;
        let text_at = exif_at + 2 + 2 * 12 + 4;
        let inner = block(&[(0x9003, 2, 20, text_at), (0xA405, 3, 1, focal_mm)], text);
        block(&[(0x8769, 4, 1, exif_at)], &inner[8..])
    }

    #[test]
    fn orientation_is_read_with_and_without_the_prefix() {
        let plain = block(&[(0x0112, 3, 1, 6)], &[]);
        assert_eq!(Facts::read(Some(plain.clone())).orientation, Orientation::Rotate90);
        let prefixed = [b"Exif\0\0", &plain[..]].concat();
        assert_eq!(Facts::read(Some(prefixed)).orientation, Orientation::Rotate90);
    }

    #[test]
    fn an_orientation_outside_1_to_8_leaves_the_picture_unturned() {
        for odd in [0, 9, 300] {
            let facts = Facts::read(Some(block(&[(0x0112, 3, 1, odd)], &[])));
            assert_eq!(facts.orientation, Orientation::NoTransforms, "{odd}");
        }
    }

    #[test]
    fn capture_time_and_focal_length_are_read() {
        let facts = Facts::read(Some(with_capture(b"2026:03:09 17:05:59\0", 26)));
        assert_eq!(facts.capture_time, Some(date(2026, 3, 9).at(17, 5, 59, 0)));
        assert_eq!(facts.focal_35mm, Some(26.0));
    }

    #[test]
    fn an_impossible_date_and_a_zero_focal_length_are_unknown() {
        for text in [b"2026:13:09 17:05:59\0", b"0000:00:00 00:00:00\0", b"    :  :     :  :  \0"] {
            assert_eq!(Facts::read(Some(with_capture(text, 0))), Facts::NONE);
        }
    }

    #[test]
    fn a_directory_that_points_at_itself_ends() {
        let mut looped = block(&[(0x0112, 3, 1, 3), (0x8769, 4, 1, 8)], &[]);
        let next = looped.len() - 4;
        looped[next..].copy_from_slice(&8u32.to_le_bytes());
        assert_eq!(Facts::read(Some(looped)).orientation, Orientation::Rotate180);
    }

    #[test]
    fn no_block_and_a_huge_block_say_nothing() {
        assert_eq!(Facts::read(None), Facts::NONE);
        let mut huge = block(&[(0x0112, 3, 1, 6)], &[]);
        huge.resize(LARGEST_EXIF_BYTES, 0);
        assert_eq!(Facts::read(Some(huge.clone())).orientation, Orientation::Rotate90);
        huge.push(0);
        assert_eq!(Facts::read(Some(huge)), Facts::NONE);
    }

    proptest! {
        #[test]
        fn arbitrary_blocks_never_panic(head in prop::bool::ANY, body in prop::collection::vec(any::<u8>(), 0..400)) {
            let block = if head { [b"II*\0\x08\0\0\0", &body[..]].concat() } else { body };
            Facts::read(Some(block));
        }
    }
}
