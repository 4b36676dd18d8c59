//! What a JPEG is without being decoded: whether it arrived whole, as a decoder fills what is missing with grey and says nothing, and
//! whether it is one that our own encoder writes.

use std::sync::LazyLock;

use crate::photo::encode;
use crate::photo::rendition::QUALITY;

/// What the markers of the first picture in a JPEG file say (ITU-T T.81, annex B).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct JpegMarks {
    /// The end marker of this picture was reached by walking the segments. What follows it (a second picture, junk)
    /// does not matter, nor do end markers inside a thumbnail.
    pub ended: bool,
    /// Memory the decoder takes for each pixel, bytes: its output, and all coefficients when the picture is
    /// progressive or its first scan lacks a component.
    pub bytes_per_pixel: f64,
}

/// Never fails: a file without sense is one that has not ended.
pub(crate) fn read(bytes: &[u8]) -> JpegMarks {
    let mut walk = Walk::over(bytes);
    let ended = walk.reach_end().is_some();
    let coefficients = if walk.keeps_coefficients { 2.0 * walk.frame.samples_per_pixel } else { 0.0 };
    JpegMarks { ended, bytes_per_pixel: 3.0 + coefficients }
}

/// Whether these bytes are a picture of this size as our encoder writes it for a rendition, and nothing else: its header byte for byte,
/// data without a mark, and the end mark last. Nothing is decoded.
pub(crate) fn is_bare(bytes: &[u8], size_px: (u32, u32)) -> bool {
    bare_data(bytes, size_px).is_some_and(|data| {
        // Within the data each FF is followed by a stuffed 00: no other mark, so nothing that ends it early.
        !data.is_empty() && data.split(|byte| *byte == 0xFF).skip(1).all(|rest| rest.first() == Some(&0))
    })
}

/// The picture's data, between the scan's header and the end mark.
fn bare_data(bytes: &[u8], size_px: (u32, u32)) -> Option<&[u8]> {
    let header = OUR_HEADER.as_ref()?.of(size_px)?;
    bytes.strip_prefix(&header[..])?.strip_suffix(&[0xFF, 0xD9])
}

/// `None`: our encoder cannot even write one pixel, and no picture is ours.
static OUR_HEADER: LazyLock<Option<Header>> = LazyLock::new(|| Header::written(QUALITY));

/// All that our encoder writes before a picture's data. Its tables hang on the quality alone, and frame and scan are always the same: of
/// two pictures only the size differs.
struct Header {
    bytes: Vec<u8>,
    /// Where height and width stand, two bytes each.
    size_at: usize,
}

impl Header {
    /// As it is written for the smallest picture.
    fn written(quality: u8) -> Option<Header> {
        let smallest = encode::jpeg((1, 1), quality, &mut |_| Ok(vec![128; 3])).ok()?;
        let mut walk = Walk::over(&smallest);
        let mut size_at = None;
        loop {
            let marker = walk.next_marker()?;
            if marker == 0xC0 {
                // Behind the segment's length and the precision (ITU-T T.81, B.2.2).
                size_at = Some(walk.at + 3);
            }
            walk.segment()?;
            if marker == 0xDA {
                return Some(Header { bytes: smallest[..walk.at].to_vec(), size_at: size_at? });
            }
        }
    }

    /// `None`: no JPEG is so large.
    fn of(&self, (width_px, height_px): (u32, u32)) -> Option<Vec<u8>> {
        let size = [u16::try_from(height_px).ok()?, u16::try_from(width_px).ok()?].map(u16::to_be_bytes);
        let mut bytes = self.bytes.clone();
        bytes.get_mut(self.size_at..self.size_at + 4)?.copy_from_slice(&size.concat());
        Some(bytes)
    }
}

struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
    frame: Frame,
    keeps_coefficients: bool,
}

struct Frame {
    components: u8,
    samples_per_pixel: f64,
}

impl Default for Frame {
    fn default() -> Frame {
        Frame { components: 0, samples_per_pixel: 3.0 }
    }
}

impl<'a> Walk<'a> {
    /// Begins behind the start mark.
    fn over(bytes: &'a [u8]) -> Walk<'a> {
        Walk { bytes, at: 2, frame: Frame::default(), keeps_coefficients: false }
    }

    /// `None` when the bytes run out before the end marker.
    fn reach_end(&mut self) -> Option<()> {
        loop {
            match self.next_marker()? {
                0xD9 => return Some(()),
                // Marks without a segment: a stuffed FF, TEM, restarts, another start.
                0x00 | 0x01 | 0xD0..=0xD8 => {}
                marker @ (0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF) => {
                    self.frame = frame(self.segment()?);
                    self.keeps_coefficients |= matches!(marker, 0xC2 | 0xC6 | 0xCA | 0xCE);
                }
                0xDA => {
                    let in_scan = self.segment()?.first().copied().unwrap_or(0);
                    self.keeps_coefficients |= in_scan < self.frame.components;
                }
                _ => {
                    self.segment()?;
                }
            }
        }
    }

    /// The byte after the next run of FF: a marker, or 00 for a stuffed FF inside the picture's data.
    fn next_marker(&mut self) -> Option<u8> {
        let rest = self.bytes.get(self.at..)?;
        let mark = rest.iter().position(|byte| *byte == 0xFF)?;
        let fill = rest[mark..].iter().position(|byte| *byte != 0xFF)?;
        self.at += mark + fill + 1;
        Some(rest[mark + fill])
    }

    fn segment(&mut self) -> Option<&'a [u8]> {
        let rest = self.bytes.get(self.at..)?;
        let length = usize::from(u16::from_be_bytes([*rest.first()?, *rest.get(1)?]));
        let body = rest.get(2..length.max(2))?;
        self.at += length.max(2);
        Some(body)
    }
}

/// Components and their sampling: 4:2:0 stores half a chroma sample for each pixel, 4:4:4 two.
fn frame(body: &[u8]) -> Frame {
    let Some((&components, samplings)) = body.get(5..).and_then(<[u8]>::split_first) else {
        return Frame::default();
    };
    let shares: Vec<(u8, u8)> =
        samplings.chunks_exact(3).map(|entry| (entry[1] >> 4, entry[1] & 0x0F)).collect();
    let widest = shares.iter().map(|(across, _)| *across).max().unwrap_or(1).max(1);
    let tallest = shares.iter().map(|(_, down)| *down).max().unwrap_or(1).max(1);
    let samples: f64 = shares.iter().map(|(across, down)| f64::from(*across) * f64::from(*down)).sum();
    Frame { components, samples_per_pixel: samples / f64::from(widest) / f64::from(tallest) }
}

#[cfg(test)]
mod tests {
    use jpeg_encoder::ColorType;
    use jpeg_encoder::Encoder;
    use jpeg_encoder::PixelDensity;
    use jpeg_encoder::SamplingFactor;

    use super::*;

    const SOI: &[u8] = &[0xFF, 0xD8];
    const EOI: &[u8] = &[0xFF, 0xD9];
    const APP1_HOLDING_AN_END_MARK: &[u8] = &[0xFF, 0xE1, 0, 6, 0xFF, 0xD8, 0xFF, 0xD9];
    const SCAN: &[u8] = &[0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 63, 0];
    const DATA: &[u8] = &[1, 2, 0xFF, 0x00, 3, 0xFF, 0xD0, 4];

    fn ended(parts: &[&[u8]]) -> bool {
        read(&parts.concat()).ended
    }

    #[test]
    fn the_end_mark_after_the_data_makes_it_whole() {
        assert!(ended(&[SOI, SCAN, DATA, EOI]));
        assert!(!ended(&[SOI, SCAN, DATA]));
    }

    #[test]
    fn an_end_mark_inside_a_thumbnail_does_not_count() {
        assert!(!ended(&[SOI, APP1_HOLDING_AN_END_MARK, SCAN, DATA]));
        assert!(ended(&[SOI, APP1_HOLDING_AN_END_MARK, SCAN, DATA, EOI]));
    }

    #[test]
    fn a_second_picture_or_junk_after_the_end_does_not_matter() {
        assert!(ended(&[SOI, SCAN, DATA, EOI, SOI, SCAN, DATA]));
        assert!(ended(&[SOI, SCAN, DATA, EOI, b"PK\x03\x04 junk \xFF\xDA"]));
    }

    #[test]
    fn fill_bytes_before_a_marker_are_passed_over() {
        assert!(ended(&[SOI, SCAN, DATA, &[0xFF, 0xFF], EOI]));
    }

    fn ours() -> Vec<u8> {
        encode::jpeg((24, 10), QUALITY, &mut |rows| {
            Ok(rows
                .flat_map(|y| (0..24_u32).flat_map(move |x| [(x * 10) as u8, (y * 20) as u8, 7]))
                .collect())
        })
        .unwrap()
    }

    /// The same encoder, told otherwise.
    fn written_by(told: impl Fn(&mut Encoder<&mut Vec<u8>>), colours: ColorType) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, QUALITY);
        encoder.set_sampling_factor(SamplingFactor::F_2_2);
        told(&mut encoder);
        encoder.encode(&[90; 24 * 10 * 4], 24, 10, colours).unwrap();
        bytes
    }

    #[test]
    fn no_byte_before_the_data_may_differ_from_what_our_encoder_writes() {
        let ours = ours();
        let header_ends = Header::written(QUALITY).unwrap().bytes.len();
        assert!(header_ends > 600, "two tables for the steps, four for the codes: {header_ends}");
        for at in 0..header_ends {
            let mut changed = ours.clone();
            changed[at] ^= 1;
            assert!(!is_bare(&changed, (24, 10)), "byte {at} of {header_ends}");
        }
        let tables = ours.windows(2).position(|pair| pair == [0xFF, 0xDB]).unwrap();
        let once_more = [&ours[..tables], &ours[tables..tables + 69], &ours[tables..]].concat();
        assert!(!is_bare(&once_more, (24, 10)), "a table more");
        assert!(!is_bare(&[&ours[..header_ends], EOI].concat(), (24, 10)), "no data");
    }

    #[test]
    fn what_our_encoder_would_write_told_otherwise_is_not_bare() {
        let is_bare = |bytes: Vec<u8>| is_bare(&bytes, (24, 10));
        assert!(is_bare(written_by(|_| {}, ColorType::Rgb)), "the control");
        assert!(!is_bare(written_by(|_| {}, ColorType::Luma)), "one component");
        assert!(!is_bare(written_by(|_| {}, ColorType::Cmyk)), "four components");
        type Tell = fn(&mut Encoder<&mut Vec<u8>>);
        let otherwise: [(&str, Tell); 7] = [
            ("another sampling", |it| it.set_sampling_factor(SamplingFactor::F_1_1)),
            ("another quality", |it| it.set_quality(QUALITY - 1)),
            ("tables of its own", |it| it.set_optimized_huffman_tables(true)),
            ("many scans", |it| it.set_progressive(true)),
            ("restarts", |it| it.set_restart_interval(1)),
            ("a density", |it| it.set_density(PixelDensity::dpi(300))),
            ("a profile", |it| it.add_icc_profile(&[7; 20]).unwrap()),
        ];
        for (what, told) in otherwise {
            assert!(!is_bare(written_by(told, ColorType::Rgb)), "{what}");
        }
    }

    #[test]
    fn a_picture_is_bare_only_as_our_encoder_writes_it() {
        let ours = ours();
        assert!(is_bare(&ours, (24, 10)));
        assert!(!is_bare(&ours, (10, 24)), "another size");
        assert!(!is_bare(&[&ours[..], b"\n"].concat(), (24, 10)), "something behind it");
        assert!(!is_bare(&[b"\n", &ours[..]].concat(), (24, 10)), "something before it");
        let end = ours.len() - 2;
        assert!(!is_bare(&ours[..end], (24, 10)), "no end");
        assert!(!is_bare(&[&ours[..end], EOI, b"second", EOI].concat(), (24, 10)), "an earlier end");
        assert!(!is_bare(&[&ours[..end], &[0xFF], EOI].concat(), (24, 10)), "filled up");
        let slipped_in = |at: usize, segment: &[u8]| [&ours[..at], segment, &ours[at..]].concat();
        let header_ends = 20;
        for segment in [APP1_HOLDING_AN_END_MARK, &[0xFF, 0xFE, 0, 4, b'h', b'i'], &ours[2..20], SOI] {
            assert!(!is_bare(&slipped_in(2, segment), (24, 10)), "before the header: {segment:02X?}");
            assert!(!is_bare(&slipped_in(header_ends, segment), (24, 10)), "behind it: {segment:02X?}");
        }
        let mut with_thumbnail = ours.clone();
        with_thumbnail[18..20].copy_from_slice(&[1, 1]);
        assert!(!is_bare(&with_thumbnail, (24, 10)));
    }

    #[test]
    fn a_progressive_picture_is_counted_with_its_coefficients() {
        let frame_420 = [0, 17, 8, 0, 16, 0, 16, 3, 1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1];
        let scan_of_three = [0xFF, 0xDA, 0, 12, 3, 1, 0, 2, 0, 3, 0, 0, 63, 0];
        let with_start = |marker: u8, scan: &[u8]| {
            read(&[SOI, &[0xFF, marker], &frame_420, scan, DATA, EOI].concat()).bytes_per_pixel
        };
        assert_eq!(with_start(0xC0, &scan_of_three), 3.0);
        assert_eq!(with_start(0xC2, &scan_of_three), 6.0);
        assert_eq!(with_start(0xC0, SCAN), 6.0);
    }
}
