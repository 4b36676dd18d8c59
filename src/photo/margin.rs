//! A strip of lettering put under a kept photo, so that a copy that leaves the house says whose it is. The photo's own
//! pixels stay as they are, to the last bit.

use std::ops::Range;

use crate::photo::encode;
use crate::photo::limits::Refused;
use crate::photo::picture::Picture;
use crate::photo::rendition::QUALITY;

/// Narrower than this no sentence can be read, px: a narrower photo gets a white margin beside it as well.
pub const NARROWEST_MARGIN_PX: u32 = 320;

/// Rows and columns of one coded block of our own renditions (two by two samples of brightness to one of colour).
const BLOCK_PX: usize = 16;
/// Quality of a picture that has to be written anew, because it is narrow or was not coded as ours are.
const ANEW_QUALITY: u8 = 95;

/// Lettering in shades of grey.
///
/// Invariant: one byte for each of `width_px` × `height_px` pixels, neither of them 0; the height is a multiple of 16.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Margin {
    width_px: u32,
    height_px: u32,
    grey: Vec<u8>,
}

impl Margin {
    /// White rows are added below until the height is a multiple of 16. `None`: the rows do not fill the width, or there
    /// are none.
    pub fn new(width_px: u32, mut grey: Vec<u8>) -> Option<Margin> {
        let width = usize::try_from(width_px).ok().filter(|width| *width > 0)?;
        if grey.is_empty() || !grey.len().is_multiple_of(width) {
            return None;
        }
        let rows = (grey.len() / width).next_multiple_of(BLOCK_PX);
        grey.resize(rows * width, u8::MAX);
        Some(Margin { width_px, height_px: u32::try_from(rows).ok()?, grey })
    }

    /// px.
    pub fn height_px(&self) -> u32 {
        self.height_px
    }

    /// From 0, black, to 255, white; row by row.
    pub fn grey(&self) -> &[u8] {
        &self.grey
    }

    fn rgb(&self, rows: Range<u32>) -> Vec<u8> {
        let width = self.width_px as usize;
        let row = |row: usize| self.grey.get(row * width..(row + 1) * width).unwrap_or_default();
        rows.flat_map(|at| row(at as usize)).flat_map(|grey| [*grey; 3]).collect()
    }
}

/// How wide the margin of this JPEG must be, px. `None`: it is no JPEG that can be read.
pub fn margin_width_px(jpeg: &[u8]) -> Option<u32> {
    Some(Coded::read(jpeg)?.width.max(NARROWEST_MARGIN_PX as usize) as u32)
}

/// The photo with the margin under it. One of our own renditions keeps its coded pixels: the margin is coded with the same
/// tables and stands behind them in the same scan, after a restart. Rows that only filled the last block show as up to 15
/// more rows like the last one. Any other picture is decoded and written anew. Refused: it cannot be read, or the margin
/// is not as wide as [`margin_width_px`] says.
pub fn with_margin(jpeg: &[u8], margin: &Margin) -> Result<Vec<u8>, Refused> {
    if margin_width_px(jpeg) != Some(margin.width_px) {
        return Err(Refused::Damaged);
    }
    let strip = encode::jpeg((margin.width_px, margin.height_px), QUALITY, &mut |rows| Ok(margin.rgb(rows)))?;
    let joined = Coded::read(jpeg).zip(Coded::read(&strip)).and_then(|(photo, strip)| join(&photo, &strip));
    match joined {
        Some(joined) => Ok(joined),
        None => anew(jpeg, margin),
    }
}

/// A baseline JPEG of one scan, taken apart.
struct Coded<'a> {
    width: usize,
    height: usize,
    /// Segments before the scan as they stand, each with its marker.
    segments: Vec<(u8, &'a [u8])>,
    /// The scan's own header, with its marker.
    scan_header: &'a [u8],
    /// What is coded, up to the end mark.
    scan: &'a [u8],
}

const SOF0: u8 = 0xC0;
const DHT: u8 = 0xC4;
const EOI: u8 = 0xD9;
const SOS: u8 = 0xDA;
const DQT: u8 = 0xDB;
const DRI: u8 = 0xDD;

impl<'a> Coded<'a> {
    /// `None`: not a JPEG of this kind.
    fn read(jpeg: &'a [u8]) -> Option<Coded<'a>> {
        let mut at = 2;
        let mut segments: Vec<(u8, &[u8])> = Vec::new();
        if jpeg.get(..2)? != [0xFF, 0xD8] {
            return None;
        }
        loop {
            let [0xFF, marker, high, low] = *jpeg.get(at..at + 4)? else { return None };
            let end = at + 2 + usize::from(u16::from_be_bytes([high, low]));
            let segment = jpeg.get(at..end)?;
            if marker == SOS {
                let scan = jpeg.get(end..)?.strip_suffix(&[0xFF, EOI])?;
                let (_, frame) = segments.iter().find(|(kind, _)| *kind == SOF0)?;
                let side = |from: usize| -> Option<usize> {
                    Some(usize::from(u16::from_be_bytes(frame.get(from..from + 2)?.try_into().ok()?)))
                };
                let (height, width) = (side(5)?, side(7)?);
                return Some(Coded { width, height, segments, scan_header: segment, scan });
            }
            segments.push((marker, segment));
            at = end;
        }
    }

    fn blocks(&self) -> usize {
        self.width.div_ceil(BLOCK_PX) * self.height.div_ceil(BLOCK_PX)
    }

    /// What must be the same for two scans to be read by one decoder: tables, and the frame but for its height.
    fn tables(&self) -> Vec<Vec<u8>> {
        let kept = self.segments.iter().filter(|(kind, _)| matches!(*kind, SOF0 | DHT | DQT));
        let mut tables: Vec<Vec<u8>> = kept
            .map(|(kind, bytes)| {
                let mut bytes = bytes.to_vec();
                if let (SOF0, Some(height)) = (*kind, bytes.get_mut(5..7)) {
                    height.fill(0);
                }
                bytes
            })
            .collect();
        tables.push(self.scan_header.to_vec());
        tables
    }

    /// Three components, brightness in two by two samples, as [`encode`] writes.
    fn is_as_ours(&self) -> bool {
        let frame = self.segments.iter().find(|(kind, _)| *kind == SOF0);
        let samples = frame.and_then(|(_, bytes)| bytes.get(9..19));
        samples.is_some_and(|of| of[0] == 3 && of[2] == 0x22 && of[5] == 0x11 && of[8] == 0x11)
            && self.segments.iter().all(|(kind, _)| *kind != DRI)
            && !self.scan.windows(2).any(|pair| pair[0] == 0xFF && pair[1] != 0)
    }
}

/// One JPEG of two scans' data, the second behind the first. `None`: they do not go together.
fn join(photo: &Coded<'_>, strip: &Coded<'_>) -> Option<Vec<u8>> {
    let go_together = photo.is_as_ours() && strip.is_as_ours() && photo.tables() == strip.tables();
    // A restart comes after as many blocks as the photo has; the margin must need none of its own.
    let restart_after = u16::try_from(photo.blocks()).ok()?;
    if !go_together || strip.blocks() > photo.blocks() {
        return None;
    }
    let height = photo.height.next_multiple_of(BLOCK_PX) + strip.height;
    let height = u16::try_from(height).ok()?.to_be_bytes();
    let mut joined = vec![0xFF, 0xD8];
    for (kind, bytes) in &photo.segments {
        match *kind {
            SOF0 => {
                joined.extend_from_slice(bytes.get(..5)?);
                joined.extend_from_slice(&height);
                joined.extend_from_slice(bytes.get(7..)?);
            }
            _ => joined.extend_from_slice(bytes),
        }
    }
    joined.extend_from_slice(&[0xFF, DRI, 0, 4]);
    joined.extend_from_slice(&restart_after.to_be_bytes());
    joined.extend_from_slice(photo.scan_header);
    joined.extend_from_slice(photo.scan);
    joined.extend_from_slice(&[0xFF, 0xD0]);
    joined.extend_from_slice(strip.scan);
    joined.extend_from_slice(&[0xFF, EOI]);
    Some(joined)
}

/// The picture decoded, laid on white, and coded once more with the margin under it.
fn anew(jpeg: &[u8], margin: &Margin) -> Result<Vec<u8>, Refused> {
    let picture = Picture::from_rendition(jpeg)?;
    let (width, height) = (picture.width(), picture.height());
    let wide = margin.width_px as usize;
    let row = |at: u32| -> Vec<u8> {
        let at = at as usize;
        if at >= height {
            let at = (at - height) as u32;
            return margin.rgb(at..at + 1);
        }
        let mut row = picture.rgb().get(at * 3 * width..(at + 1) * 3 * width).unwrap_or_default().to_vec();
        row.resize(3 * wide, u8::MAX);
        row
    };
    let whole_height = u32::try_from(height).map_err(|_| Refused::Damaged)? + margin.height_px;
    encode::jpeg((margin.width_px, whole_height), ANEW_QUALITY, &mut |rows| Ok(rows.flat_map(&row).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rendition(width: u32, height: u32, quality: u8) -> Vec<u8> {
        encode::jpeg((width, height), quality, &mut |rows| {
            Ok(rows
                .flat_map(|y| (0..width).flat_map(move |x| [(x * 7 + y) as u8, (y * 5) as u8, (x ^ y) as u8]))
                .collect())
        })
        .unwrap()
    }

    fn margin(jpeg: &[u8], rows: usize) -> Margin {
        let width = margin_width_px(jpeg).unwrap();
        let grey = (0..rows * width as usize).map(|at| if at % 3 == 0 { 0 } else { 255 }).collect();
        Margin::new(width, grey).unwrap()
    }

    fn pixels(jpeg: &[u8]) -> image::RgbImage {
        image::load_from_memory(jpeg).unwrap().into_rgb8()
    }

    #[test]
    fn the_photo_keeps_every_pixel_and_the_margin_stands_under_it() {
        for (width, height) in [(320, 320), (333, 517), (1_600, 1_200), (640, 481)] {
            let photo = rendition(width, height, QUALITY);
            let margin = margin(&photo, 20);
            let joined = with_margin(&photo, &margin).unwrap();
            let (before, after) = (pixels(&photo), pixels(&joined));
            assert_eq!(after.width(), width);
            assert_eq!(after.height(), height.next_multiple_of(16) + 32);
            // Decoders smooth colours over the seam of two blocks: the last two rows are its neighbours.
            let untouched = (3 * width * (height - 2)) as usize;
            assert_eq!(before.as_raw()[..untouched], after.as_raw()[..untouched], "{width}x{height}");
            let lettered = after.rows().rev().take(32).flatten().filter(|pixel| pixel.0[1] < 60).count();
            assert!(lettered > 100, "{width}x{height}: {lettered}");
        }
    }

    #[test]
    fn a_narrow_photo_and_one_of_another_quality_are_written_anew() {
        for photo in [rendition(40, 50, QUALITY), rendition(400, 300, 60)] {
            let margin = margin(&photo, 16);
            let (before, after) = (pixels(&photo), pixels(&with_margin(&photo, &margin).unwrap()));
            assert_eq!(after.dimensions(), (before.width().max(NARROWEST_MARGIN_PX), before.height() + 16));
            let worst = before
                .enumerate_pixels()
                .map(|(x, y, was)| was.0[1].abs_diff(after.get_pixel(x, y).0[1]))
                .max();
            assert!(worst < Some(60), "{worst:?}");
        }
    }

    #[test]
    fn a_margin_higher_than_the_photo_is_taken_too() {
        let photo = rendition(320, 16, QUALITY);
        let joined = with_margin(&photo, &margin(&photo, 160)).unwrap();
        assert_eq!(pixels(&joined).dimensions(), (320, 176));
    }

    #[test]
    fn what_is_no_jpeg_or_does_not_fit_is_refused() {
        let photo = rendition(400, 300, QUALITY);
        let margin = margin(&photo, 16);
        assert!(with_margin(b"nothing", &margin).is_err());
        assert!(with_margin(&rendition(500, 300, QUALITY), &margin).is_err());
        assert_eq!(margin_width_px(b"\xFF\xD8\xFF"), None);
        assert!(Margin::new(0, vec![1]).is_none() && Margin::new(3, vec![1; 4]).is_none());
        assert_eq!(Margin::new(2, vec![0; 4]).unwrap().height_px(), 16);
    }
}
