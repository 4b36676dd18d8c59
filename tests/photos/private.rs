//! Nothing but pixels passes from the sent file to what is kept.

use crate::photo_samples::cleaned;
use crate::photo_samples::sample;
use crate::photo_samples::segments;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Rendition;

fn renditions(photo: &CleanPhoto) -> [&Rendition; 3] {
    [photo.full(), photo.review(), photo.small()]
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

/// JFIF header, tables, frame, scan: no other segment may be there.
const ALLOWED: [u8; 5] = [0xE0, 0xDB, 0xC0, 0xC4, 0xDA];

#[test]
fn a_file_full_of_metadata_comes_out_with_none() {
    let sent = sample("full-of-metadata.jpg");
    for canary in [
        &b"CanaryMake"[..],
        b"CanaryMakerNote",
        b"CanaryOwner",
        b"CanarySerial",
        b"CanaryXmp",
        b"CanaryComment",
    ] {
        assert!(holds(&sent, canary), "the sample itself holds it");
    }
    for rendition in renditions(&cleaned(&sent)) {
        let found = segments(&rendition.jpeg);
        assert!(found.iter().all(|(marker, _)| ALLOWED.contains(marker)), "{found:02X?}");
        let app0: Vec<_> = found.iter().filter(|(marker, _)| *marker == 0xE0).collect();
        assert!(app0.iter().all(|(_, body)| body.len() == 14 && body.starts_with(b"JFIF\0")), "{app0:02X?}");
        for trace in [&b"Canary"[..], b"Exif", b"http", b"ICC_PROFILE", b"II*\0", b"MM\0*"] {
            assert!(!holds(&rendition.jpeg, trace), "{}", trace.escape_ascii());
        }
    }
}

#[test]
fn the_kept_file_ends_with_its_picture() {
    for rendition in renditions(&cleaned(&sample("full-of-metadata.jpg"))) {
        assert!(rendition.jpeg.ends_with(&[0xFF, 0xD9]));
        let ends = rendition.jpeg.windows(2).filter(|pair| *pair == [0xFF, 0xD9]).count();
        assert_eq!(ends, 1);
    }
}

#[test]
fn what_is_glued_to_a_picture_is_not_kept() {
    // The anti-virus test file, from its published definition; split so that this source does not set off a scanner.
    let virus = [&b"X5O!P%@AP[4\\PZX54(P^)7CC)7}$"[..], b"EICAR-STANDARD-ANTIVIRUS-TEST-FILE!$H+H*"].concat();
    let tails: [(&[u8], &[u8]); 3] = [
        (b"PK\x03\x04\x14\0\0\0\0\0evil.exe", b"evil.exe"),
        (&virus, b"EICAR"),
        (b"<script>alert(document.cookie)</script>", b"<script"),
    ];
    for name in ["kind-baseline.jpg", "kind-rgb.png", "kind-lossy.webp"] {
        for (tail, trace) in tails {
            let photo = cleaned(&[&sample(name)[..], tail].concat());
            for rendition in renditions(&photo) {
                assert!(!holds(&rendition.jpeg, trace), "{name}");
                assert!(!holds(&rendition.jpeg, b"PK\x03\x04"), "{name}");
            }
        }
    }
}

#[test]
fn printing_a_photo_shows_no_pixel_and_no_place() {
    let shown = format!("{:?}", cleaned(&sample("full-of-metadata.jpg")));
    assert!(shown.len() < 800, "{shown}");
}
