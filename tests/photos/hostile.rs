//! Files made to harm: none takes the program down, none takes memory before it is measured.

use crate::photo_samples::animated_png;
use crate::photo_samples::cleaned;
use crate::photo_samples::png_chunk;
use crate::photo_samples::png_head;
use crate::photo_samples::refused;
use crate::photo_samples::sample;
use closewatch::photo;
use closewatch::photo::Limits;
use closewatch::photo::Refused;
use proptest::prelude::*;

/// Peak memory of this process, KiB. Linux only, as the servers are.
#[cfg(target_os = "linux")]
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[cfg(not(target_os = "linux"))]
fn peak_kib() -> u64 {
    0
}

fn png_bomb(width: u32, height: u32, bits: u8, colour: u8) -> Vec<u8> {
    [
        png_head(width, height, bits, colour),
        png_chunk(b"IDAT", &[0x78, 0x9C, 1, 0, 0]),
        png_chunk(b"IEND", &[]),
    ]
    .concat()
}

/// A JPEG whose frame header claims the given size.
fn jpeg_bomb(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = sample("kind-baseline.jpg");
    let frame = bytes.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

/// A WebP whose own header is small while the frame inside claims the given size.
fn webp_bomb(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = sample("kind-lossy.webp");
    let start = bytes.windows(3).position(|code| code == [0x9D, 0x01, 0x2A]).unwrap();
    bytes[start + 3..start + 5].copy_from_slice(&width.to_le_bytes());
    bytes[start + 5..start + 7].copy_from_slice(&height.to_le_bytes());
    bytes
}

/// A HEIC whose declared picture size is replaced.
fn heic_bomb(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = sample("kind-still.heic");
    let at = bytes.windows(4).position(|name| name == b"ispe").unwrap();
    bytes[at + 8..at + 12].copy_from_slice(&width.to_be_bytes());
    bytes[at + 12..at + 16].copy_from_slice(&height.to_be_bytes());
    bytes
}

// All in one test, and with room for the small pictures of the tests beside it: the peak is that of the whole process.
#[test]
fn pictures_that_claim_to_be_huge_are_refused_before_memory_is_taken() {
    let bombs = [
        png_bomb(30_000, 30_000, 8, 2),
        png_bomb(9_000, 7_000, 16, 6),
        png_bomb(8_000, 5_000, 16, 6),
        png_bomb(u32::MAX >> 1, 1, 8, 0),
        jpeg_bomb(65_500, 65_500),
        jpeg_bomb(9_001, 10),
        webp_bomb(16_383, 16_383),
    ];
    let before = peak_kib();
    for bomb in bombs {
        assert!(matches!(refused(&bomb), Refused::TooLarge { .. }), "{:?}", refused(&bomb));
    }
    if cfg!(feature = "heic") {
        assert!(matches!(refused(&heic_bomb(30_000, 30_000)), Refused::TooLarge { .. }));
    }
    assert!(peak_kib() - before < 64 * 1024, "{} KiB more", peak_kib() - before);
}

#[test]
fn a_refused_size_is_told() {
    let refused = refused(&png_bomb(30_000, 20_000, 8, 2));
    assert_eq!(refused, Refused::TooLarge { width_px: 30_000, height_px: 20_000 });
    assert_eq!(refused.code(), "too_large");
}

#[test]
fn a_profile_or_text_that_inflates_without_end_does_no_harm() {
    // 64 MiB of zeros as stored-block deflate would be as large as itself; repeat one match instead: 1,032 to 1 at best.
    let zeros = deflated_zeros(64 << 20);
    assert!(zeros.len() < 1 << 20);
    let plain = sample("kind-rgb.png");
    for (name, head) in [(b"iCCP", &b"bomb\0\0"[..]), (b"zTXt", b"bomb\0\0"), (b"iTXt", b"bomb\0\x01\0\0\0")]
    {
        let bomb = png_chunk(name, &[head, &zeros].concat());
        let bytes = [&plain[..33], &bomb, &plain[33..]].concat();
        assert_eq!(cleaned(&bytes).sent_width_px(), 160);
    }
}

/// A zlib stream of `count` zero bytes with fixed Huffman codes: one literal, then matches of 258 at distance 1.
fn deflated_zeros(count: usize) -> Vec<u8> {
    let mut bits: Vec<bool> = vec![true, true, false];
    let push = |bits: &mut Vec<bool>, code: u32, length: u32| {
        bits.extend((0..length).rev().map(|at| code >> at & 1 == 1));
    };
    push(&mut bits, 0x30, 8);
    for _ in 0..count / 258 {
        // Length symbol 285 (258 bytes, no extra bits), distance symbol 0.
        push(&mut bits, 0xC5, 8);
        push(&mut bits, 0, 5);
    }
    push(&mut bits, 0, 7);
    let packed =
        bits.chunks(8).map(|byte| byte.iter().enumerate().fold(0u8, |b, (i, bit)| b | u8::from(*bit) << i));
    [0x78, 0x9C].into_iter().chain(packed).collect()
}

#[test]
fn a_progressive_jpeg_with_a_thousand_scans_ends() {
    let whole = sample("kind-progressive.jpg");
    let last_scan = whole.windows(2).rposition(|pair| pair == [0xFF, 0xDA]).unwrap();
    let (start, scan) = (&whole[..last_scan], &whole[last_scan..whole.len() - 2]);
    let bomb = [start, &scan.repeat(1_000), &[0xFF, 0xD9]].concat();
    assert_eq!(refused(&bomb), Refused::Damaged);
}

#[test]
fn a_hundred_thousand_frames_are_not_counted() {
    let first = image::RgbImage::new(16, 16);
    let bytes = animated_png(&first, 100_000);
    assert_eq!(cleaned(&bytes).sent_width_px(), 16);
}

#[test]
fn a_frame_header_after_the_first_cannot_enlarge_the_picture() {
    let small = sample("kind-baseline.jpg");
    let huge = jpeg_bomb(65_000, 65_000);
    let frame = huge.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    let length = 2 + usize::from(u16::from_be_bytes([huge[frame + 2], huge[frame + 3]]));
    let header = &huge[frame..frame + length];
    let scan = small.windows(2).position(|pair| pair == [0xFF, 0xDA]).unwrap();
    let doubled = [&small[..scan], header, &small[scan..]].concat();
    if let Ok(photo) = photo::clean(&doubled, &Limits::default()) {
        assert_eq!(photo.sent_width_px(), 160);
    }
}

const SAMPLES: [&str; 11] = [
    "kind-baseline.jpg",
    "kind-progressive.jpg",
    "kind-cmyk.jpg",
    "full-of-metadata.jpg",
    "orientation-7.jpg",
    "p3.jpg",
    "kind-palette.png",
    "kind-alpha.webp",
    "kind-moving.webp",
    "kind-turned.heic",
    "kind-tiles.heic",
];

const BEGINNINGS: [&[u8]; 6] = [
    b"",
    b"\xFF\xD8\xFF",
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
    b"RIFF\xFF\0\0\0WEBPVP8X\x0A\0\0\0",
    b"RIFF\xFF\0\0\0WEBPVP8L",
    b"\0\0\0\x18ftypheic\0\0\0\0mif1heic\0\0\0\x40meta\0\0\0\0",
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(256) })]

    #[test]
    fn arbitrary_bytes_behind_any_beginning_never_panic(
        beginning in prop::sample::select(&BEGINNINGS[..]),
        rest in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let _ = photo::clean(&[beginning, &rest].concat(), &Limits::default());
    }

    #[test]
    fn real_pictures_with_changed_bytes_never_panic(
        name in prop::sample::select(&SAMPLES[..]),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
        keep_whole in any::<bool>(),
    ) {
        let mut bytes = sample(name);
        for (at, value) in changes {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if !keep_whole {
            bytes.truncate(cut.index(bytes.len()));
        }
        if let Ok(photo) = photo::clean(&bytes, &Limits::default()) {
            prop_assert!(photo.full().width_px <= photo.sent_width_px());
            prop_assert!(photo.small().jpeg.starts_with(&[0xFF, 0xD8]));
        }
    }
}
