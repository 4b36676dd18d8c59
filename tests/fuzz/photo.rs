//! Photos: whatever is sent, it is refused, or becomes three plain pictures of a sensible size.

use std::time::Duration;

use closewatch::photo;
use closewatch::photo::Limits;

use crate::Came;
use crate::Target;
use crate::photo_samples::opened;
use crate::photo_samples::sample;
use crate::photo_samples::segments;

/// Small, so that many are tried; the true ones are kept by `tests/photos/hostile.rs`.
const LIMITS: Limits = Limits { bytes: 200_000, pixels: 400_000, side_px: 1_000, decode_bytes: 8 << 20 };

const SAMPLES: &[&str] = &[
    "kind-alpha.png",
    "kind-alpha.webp",
    "kind-baseline.jpg",
    "kind-cmyk.jpg",
    "kind-grey16.png",
    "kind-lossy.webp",
    "kind-moving.webp",
    "kind-palette.png",
    "kind-progressive.jpg",
    "kind-restarts.jpg",
    "kind-still.heic",
    "kind-tiles.heic",
    "kind-turned.heic",
    "orientation-6.jpg",
    "full-of-metadata.jpg",
    "p3.jpg",
];

/// Markers of JPEG, names of chunks and boxes.
const PIECES: &[&[u8]] = &[
    b"\xFF\xD8\xFF\xE1",
    b"\xFF\xC2",
    b"\xFF\xDA",
    b"\xFF\xC4",
    b"\xFF\xDD\x00\x04\x00\x01",
    b"Exif\0\0MM\0*\0\0\0\x08",
    b"IHDR",
    b"IDAT",
    b"acTL",
    b"RIFF",
    b"VP8X",
    b"VP8L",
    b"ftypheic",
    b"ispe",
    b"iloc",
    b"hvcC",
];

#[test]
fn photos() {
    let samples = SAMPLES.iter().filter(|name| cfg!(feature = "heic") || !name.ends_with(".heic"));
    let target = Target {
        name: "photo",
        samples: samples.map(|name| sample(name)).collect(),
        pieces: PIECES,
        within: Duration::from_secs(10),
        most_kib: 96 * 1024,
    };
    target.run(|bytes| {
        let Ok(clean) = photo::clean(bytes, &LIMITS) else { return Came::Refused };
        assert_eq!(clean.sent_sha256().len(), 64);
        assert!(clean.sent_width_px() <= LIMITS.side_px && clean.sent_height_px() <= LIMITS.side_px);
        for rendition in [clean.full(), clean.review(), clean.small()] {
            let picture = opened(rendition);
            assert_eq!(picture.dimensions(), (rendition.width_px, rendition.height_px));
            // Only tables, frame and scan, and the plain JFIF header: nothing else can carry what was sent along.
            for (marker, body) in segments(&rendition.jpeg) {
                let plain = matches!(marker, 0xC0 | 0xC4 | 0xDA | 0xDB)
                    || marker == 0xE0 && body.starts_with(b"JFIF\0");
                assert!(plain, "a segment {marker:02X} of {} bytes", body.len());
            }
        }
        let again = photo::clean(&clean.full().jpeg, &Limits::default()).expect("what is kept can be read");
        assert_eq!(again.sent_width_px(), clean.full().width_px);
        Came::Taken
    });
}
