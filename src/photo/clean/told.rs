//! How a sent file is given to a process that reads it apart, and how it tells what it found: plain bytes, of which none is believed.
//!
//! Such a process decodes what strangers send. Should one of them take it over, it can say whatever it likes; so its answer is taken
//! only as far as this program could have written it: pictures of the size that follows from the size sent, with the very header that our
//! encoder writes and a picture's data behind it, figures within their ranges, words out of a short list. Hashes are taken anew.

use std::io;
use std::io::Read;
use std::io::Write;

use jiff::civil::DateTime;

use crate::photo::clean::CleanPhoto;
use crate::photo::clean::begins_as;
use crate::photo::encode;
use crate::photo::format;
use crate::photo::format::Format;
use crate::photo::jpeg_marks;
use crate::photo::limits::Limits;
use crate::photo::limits::Refused;
use crate::photo::quality::Quality;
use crate::photo::rendition;
use crate::photo::rendition::FULL_PX;
use crate::photo::rendition::QUALITY;
use crate::photo::rendition::REVIEW_PX;
use crate::photo::rendition::Rendition;
use crate::photo::rendition::SMALL_PX;
use crate::photo::turn::fitted;

/// What the reading process says once it is shut in. Before that it is given nothing.
pub const SHUT_IN: &[u8; 8] = b"shut in\n";

/// The status it ends with where it cannot be shut in. Its words are why.
pub const NOT_SHUT_IN: u8 = 3;

/// More is no answer, bytes. The largest rendition has 16 million pixels; of pure noise it takes some two bytes for each.
pub const MOST_ANSWER_BYTES: u64 = 64 << 20;

const KEPT: u8 = b'k';
const TOO_LARGE: u8 = b'l';
const NOT_A_PICTURE: u8 = b'n';
const DAMAGED: u8 = b'd';

/// What is asked of the reading process.
#[derive(Debug)]
pub struct Asked {
    /// As sent.
    pub bytes: Vec<u8>,
    pub limits: Limits,
}

const HEAD_BYTES: usize = 8 * 5;

impl Asked {
    /// What goes before the file's bytes.
    pub fn head(bytes: &[u8], limits: &Limits) -> Vec<u8> {
        let side_px = u64::from(limits.side_px);
        [limits.bytes, limits.pixels, side_px, limits.decode_bytes, bytes.len() as u64]
            .map(u64::to_le_bytes)
            .concat()
    }

    /// Reads the head and the file. An error when the bytes run out, or the file is larger than its own limits.
    pub fn read(from: &mut impl Read) -> io::Result<Asked> {
        let mut head = [0; HEAD_BYTES];
        from.read_exact(&mut head)?;
        let wrong = || io::Error::from(io::ErrorKind::InvalidData);
        let mut told = Told(&head);
        let mut number = || told.u64().ok_or_else(wrong);
        let limits = Limits {
            bytes: number()?,
            pixels: number()?,
            side_px: u32::try_from(number()?).map_err(|_| wrong())?,
            decode_bytes: number()?,
        };
        let length = number()?;
        if length > limits.bytes {
            return Err(wrong());
        }
        let mut bytes = Vec::with_capacity(usize::try_from(length).map_err(|_| wrong())?);
        from.take(length).read_to_end(&mut bytes)?;
        if bytes.len() as u64 != length {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(Asked { bytes, limits })
    }
}

/// Writes what came of a file. What is told of its bytes alone (empty, too many, of no known kind) is known before it is given away.
pub fn tell(outcome: &Result<CleanPhoto, Refused>, to: &mut impl Write) -> io::Result<()> {
    match outcome {
        Ok(photo) => tell_kept(photo, to),
        Err(Refused::TooLarge { width_px, height_px }) => {
            to.write_all(&[TOO_LARGE])?;
            to.write_all(&[*width_px, *height_px].map(u32::to_le_bytes).concat())
        }
        Err(Refused::NotAPicture { .. }) => to.write_all(&[NOT_A_PICTURE]),
        Err(Refused::Empty | Refused::TooManyBytes { .. } | Refused::Damaged) => to.write_all(&[DAMAGED]),
    }?;
    to.flush()
}

fn tell_kept(photo: &CleanPhoto, to: &mut impl Write) -> io::Result<()> {
    let quality = &photo.quality;
    to.write_all(&[KEPT, u8::from(quality.complete)])?;
    to.write_all(&[photo.sent_px.0, photo.sent_px.1].map(u32::to_le_bytes).concat())?;
    let focal = photo.focal_35mm.unwrap_or(0.0);
    for number in [quality.mean_luminance, quality.burnt_out, quality.sharpness, focal] {
        to.write_all(&number.to_le_bytes())?;
    }
    let (year, parts) = photo.capture_time.map_or((0, [0; 5]), |time| {
        (time.year(), [time.month(), time.day(), time.hour(), time.minute(), time.second()])
    });
    to.write_all(&year.to_le_bytes())?;
    to.write_all(&parts.map(i8::to_le_bytes).concat())?;
    for rendition in [&photo.full, &photo.review, &photo.small] {
        to.write_all(&(rendition.jpeg.len() as u64).to_le_bytes())?;
        to.write_all(&rendition.jpeg)?;
    }
    Ok(())
}

/// What the answer says of the file that was given away; `None` when it says what [`tell`] never says of this one. Nothing is
/// decoded here.
pub fn believe(answer: &[u8], sent: &[u8], limits: &Limits) -> Option<Result<CleanPhoto, Refused>> {
    let format = begins_as(sent, limits).ok()?;
    let mut told = Told(answer);
    let [kind] = told.take()?;
    let outcome = match kind {
        KEPT => Ok(kept(&mut told, sent, format, limits)?),
        TOO_LARGE => Err(Refused::TooLarge { width_px: told.u32()?, height_px: told.u32()? }),
        NOT_A_PICTURE => Err(Refused::NotAPicture { looks_like: format::looks_like(sent) }),
        DAMAGED => Err(Refused::Damaged),
        _ => return None,
    };
    told.0.is_empty().then_some(outcome)
}

fn kept(told: &mut Told<'_>, sent: &[u8], format: Format, limits: &Limits) -> Option<CleanPhoto> {
    let [complete @ (0 | 1)] = told.take()? else { return None };
    let sent_px = (told.u32()?, told.u32()?);
    limits.allow(sent_px.0, sent_px.1, 0.0).ok()?;
    let quality = Quality {
        complete: complete == 1,
        mean_luminance: told.number(255.0)?,
        burnt_out: told.number(1.0)?,
        sharpness: told.number(1_020.0)?,
        shortest_side_px: sent_px.0.min(sent_px.1),
    };
    let focal = told.number(f64::from(u32::MAX))?;
    let capture_time = capture_time(told)?;
    let review_px = fitted(sent_px, REVIEW_PX);
    Some(CleanPhoto {
        full: told.rendition(fitted(sent_px, FULL_PX))?,
        review: told.rendition(review_px)?,
        small: told.rendition(fitted(review_px, SMALL_PX))?,
        sent_sha256: rendition::sha256_hex(sent),
        sent_px,
        format,
        quality,
        capture_time,
        focal_35mm: (focal > 0.0).then_some(focal),
    })
}

/// The inner `None`: the file does not say.
fn capture_time(told: &mut Told<'_>) -> Option<Option<DateTime>> {
    let year = i16::from_le_bytes(told.take()?);
    let [month, day, hour, minute, second] = told.take()?.map(|part: u8| i8::from_le_bytes([part]));
    if year == 0 {
        return Some(None);
    }
    let time = DateTime::new(year, month, day, hour, minute, second, 0).ok()?;
    (year > 0).then_some(Some(time))
}

/// A small grey picture of our own: whether pictures are read at all, where this program runs. `None`: it cannot even be written.
pub fn sample() -> Option<Vec<u8>> {
    const SIDE_PX: u32 = 16;
    let row_bytes = 3 * SIDE_PX as usize;
    encode::jpeg((SIDE_PX, SIDE_PX), QUALITY, &mut |rows| Ok(vec![128; rows.len() * row_bytes])).ok()
}

/// What is left of an answer.
struct Told<'a>(&'a [u8]);

impl Told<'_> {
    fn take<const COUNT: usize>(&mut self) -> Option<[u8; COUNT]> {
        let (taken, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*taken)
    }

    fn u32(&mut self) -> Option<u32> {
        Some(u32::from_le_bytes(self.take()?))
    }

    fn u64(&mut self) -> Option<u64> {
        Some(u64::from_le_bytes(self.take()?))
    }

    /// From 0 to `most`.
    fn number(&mut self, most: f64) -> Option<f64> {
        Some(f64::from_le_bytes(self.take()?)).filter(|number| (0.0..=most).contains(number))
    }

    fn rendition(&mut self, size_px: (u32, u32)) -> Option<Rendition> {
        let length = usize::try_from(self.u64()?).ok()?;
        let (jpeg, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        jpeg_marks::is_bare(jpeg, size_px).then(|| Rendition::new(jpeg.to_vec(), size_px))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::photo::clean;

    fn sent() -> Vec<u8> {
        encode::jpeg((700, 90), 90, &mut |rows| {
            Ok(rows.flat_map(|y| (0..700_u32).flat_map(move |x| [(x / 4) as u8, y as u8, 90])).collect())
        })
        .unwrap()
    }

    fn told(outcome: &Result<CleanPhoto, Refused>) -> Vec<u8> {
        let mut bytes = Vec::new();
        tell(outcome, &mut bytes).unwrap();
        bytes
    }

    fn believed(answer: &[u8]) -> Option<Result<CleanPhoto, Refused>> {
        believe(answer, &sent(), &Limits::default())
    }

    fn photo() -> CleanPhoto {
        let mut photo = clean(&sent(), &Limits::default()).unwrap();
        photo.capture_time = Some(jiff::civil::date(2026, 3, 9).at(17, 5, 59, 0));
        photo.focal_35mm = Some(26.0);
        photo
    }

    #[test]
    fn what_is_asked_is_read_as_it_was_written() {
        let limits = Limits { bytes: 100, pixels: 7, side_px: 8, decode_bytes: 9 };
        let asked = [&Asked::head(b"a file", &limits)[..], b"a file"].concat();
        let read = Asked::read(&mut &asked[..]).unwrap();
        assert_eq!((read.bytes, read.limits), (b"a file".to_vec(), limits));
        assert!(Asked::read(&mut &asked[..asked.len() - 1]).is_err(), "a byte is missing");
        let larger = [&Asked::head(&[0; 101], &limits)[..], &[0; 101]].concat();
        assert!(Asked::read(&mut &larger[..]).is_err(), "larger than its own limit");
    }

    #[test]
    fn every_outcome_is_believed_as_it_was_told() {
        let bare = CleanPhoto { capture_time: None, focal_35mm: None, ..photo() };
        for outcome in [
            Ok(photo()),
            Ok(bare),
            Err(Refused::Damaged),
            Err(Refused::TooLarge { width_px: 3, height_px: 4 }),
        ] {
            assert_eq!(believed(&told(&outcome)), Some(outcome));
        }
    }

    #[test]
    fn an_answer_with_a_byte_too_few_or_too_many_is_not_believed() {
        let whole = told(&Ok(photo()));
        for length in 0..whole.len() {
            assert_eq!(believed(&whole[..length]), None, "{length} of {}", whole.len());
        }
        assert_eq!(believed(&[&whole[..], b"\0"].concat()), None);
        assert_eq!(believed(&[&told(&Err(Refused::Damaged))[..], b"d"].concat()), None);
    }

    #[test]
    fn figures_outside_their_ranges_are_not_believed() {
        let whole = told(&Ok(photo()));
        let with = |at: usize, bytes: Vec<u8>| {
            let mut changed = whole.clone();
            changed[at..at + bytes.len()].copy_from_slice(&bytes);
            believed(&changed)
        };
        assert!(with(1, vec![0]).is_some(), "a cut file is believed");
        for (at, bytes, what) in [
            (1, vec![2], "neither whole nor cut"),
            (2, 9_001_u32.to_le_bytes().to_vec(), "wider than is taken"),
            (2, 701_u32.to_le_bytes().to_vec(), "another size than its pictures"),
            (2, 0_u32.to_le_bytes().to_vec(), "without a width"),
            (10, 255.5_f64.to_le_bytes().to_vec(), "brighter than white"),
            (10, f64::NAN.to_le_bytes().to_vec(), "no number"),
            (18, (-0.5_f64).to_le_bytes().to_vec(), "less than nothing burnt out"),
            (26, f64::INFINITY.to_le_bytes().to_vec(), "endlessly sharp"),
            (34, (-26.0_f64).to_le_bytes().to_vec(), "a lens behind the camera"),
            (42, (-3_i16).to_le_bytes().to_vec(), "before the era"),
            (44, vec![13], "a thirteenth month"),
            (49, u64::MAX.to_le_bytes().to_vec(), "a picture longer than the answer"),
        ] {
            assert_eq!(with(at, bytes), None, "{what}");
        }
    }

    #[test]
    fn a_picture_that_carries_anything_else_is_not_believed() {
        let hides = |change: &dyn Fn(&mut Vec<u8>)| {
            let mut photo = photo();
            change(&mut photo.review.jpeg);
            believed(&told(&Ok(photo))).is_none()
        };
        assert!(!hides(&|_| {}), "the control");
        let exif = b"\xFF\xE1\0\x0AExif\0\0II";
        assert!(hides(&|jpeg| {
            jpeg.splice(20..20, exif.iter().copied());
        }));
        let mark = |jpeg: &[u8], kind: u8| jpeg.windows(2).position(|pair| pair == [0xFF, kind]).unwrap();
        assert!(hides(&|jpeg| {
            let codes = mark(jpeg, 0xC4);
            jpeg[codes + 25] ^= 1;
        }));
        assert!(hides(&|jpeg| {
            let steps = mark(jpeg, 0xDB);
            jpeg.splice(steps..steps, jpeg[steps..steps + 69].to_vec());
        }));
        assert!(hides(&|jpeg| jpeg.extend_from_slice(b"PK\x03\x04")));
        assert!(hides(&|jpeg| *jpeg = b"<html>".to_vec()));
        assert!(hides(&|jpeg| jpeg.clear()));
    }

    #[test]
    fn hashes_are_taken_anew() {
        let mut photo = photo();
        photo.full.sha256 = "0".repeat(64);
        photo.sent_sha256 = "0".repeat(64);
        let believed = believed(&told(&Ok(photo.clone()))).unwrap().unwrap();
        assert_eq!(believed.full.sha256, rendition::sha256_hex(&photo.full.jpeg));
        assert_eq!(believed.sent_sha256, rendition::sha256_hex(&sent()));
    }

    #[test]
    fn the_sample_is_a_photo() {
        let limits = Limits::default();
        let sample = sample().unwrap();
        assert_eq!(clean(&sample, &limits).unwrap().sent_width_px(), 16);
    }

    proptest! {
        #[test]
        fn arbitrary_answers_and_questions_never_panic(
            kind in prop::sample::select(&b"klnd?"[..]),
            rest in prop::collection::vec(any::<u8>(), 0..200),
        ) {
            let bytes = [&[kind][..], &rest].concat();
            let _ = believed(&bytes);
            let _ = Asked::read(&mut &bytes[..]);
        }
    }
}
