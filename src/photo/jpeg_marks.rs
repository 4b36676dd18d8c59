//! Whether a JPEG arrived whole, read from its markers: the decoder fills what is missing with grey and says nothing.

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
    let mut walk = Walk { bytes, at: 2, frame: Frame::default(), keeps_coefficients: false };
    let ended = walk.reach_end().is_some();
    let coefficients = if walk.keeps_coefficients { 2.0 * walk.frame.samples_per_pixel } else { 0.0 };
    JpegMarks { ended, bytes_per_pixel: 3.0 + coefficients }
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
