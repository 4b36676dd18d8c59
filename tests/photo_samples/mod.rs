//! Sample pictures for the photo tests: read from tests/truth/photo, or made here.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::fs;
use std::io::Cursor;
use std::path::Path;

use closewatch::photo;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Limits;
use closewatch::photo::Refused;
use closewatch::photo::Rendition;
use image::ImageFormat;
use image::RgbImage;

pub fn sample(name: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/photo").join(name)).unwrap()
}

pub fn cleaned(bytes: &[u8]) -> CleanPhoto {
    photo::clean(bytes, &Limits::default()).unwrap()
}

pub fn refused(bytes: &[u8]) -> Refused {
    photo::clean(bytes, &Limits::default()).unwrap_err()
}

pub fn opened(rendition: &Rendition) -> RgbImage {
    image::load_from_memory_with_format(&rendition.jpeg, ImageFormat::Jpeg).unwrap().into_rgb8()
}

pub fn png_of(picture: &RgbImage) -> Vec<u8> {
    written(picture, ImageFormat::Png)
}

pub fn jpeg_of(picture: &RgbImage) -> Vec<u8> {
    written(picture, ImageFormat::Jpeg)
}

fn written(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// Mean absolute difference of two pictures of the same size, 0 to 255.
pub fn difference(one: &RgbImage, other: &RgbImage) -> f64 {
    assert_eq!(one.dimensions(), other.dimensions());
    let sum: u64 = one.iter().zip(other.iter()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    sum as f64 / one.len().max(1) as f64
}

/// The pieces of a JPEG: marker and body of every segment up to the scan. The scan's data run to the end mark.
pub fn segments(jpeg: &[u8]) -> Vec<(u8, Vec<u8>)> {
    assert_eq!(&jpeg[..2], [0xFF, 0xD8]);
    let mut found = Vec::new();
    let mut at = 2;
    loop {
        assert_eq!(jpeg[at], 0xFF);
        let marker = jpeg[at + 1];
        let length = usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        found.push((marker, jpeg[at + 4..at + 2 + length].to_vec()));
        at += 2 + length;
        if marker == 0xDA {
            return found;
        }
    }
}

pub fn png_chunk(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let named = [&name[..], body].concat();
    [&(body.len() as u32).to_be_bytes()[..], &named, &crc32(&named).to_be_bytes()].concat()
}

/// The PNG signature and header chunk of a picture of any size.
pub fn png_head(width: u32, height: u32, bits: u8, colour: u8) -> Vec<u8> {
    let sides = [width.to_be_bytes(), height.to_be_bytes()].concat();
    let header = png_chunk(b"IHDR", &[&sides[..], &[bits, colour, 0, 0, 0]].concat());
    [b"\x89PNG\r\n\x1a\n", &header[..]].concat()
}

/// An animated PNG (third edition, section 4.9) whose later frames hold nothing that can be inflated.
pub fn animated_png(first: &RgbImage, frames: u32) -> Vec<u8> {
    let still = png_of(first);
    let (head, rest) = still.split_at(8 + 25);
    let end = rest.len() - 12;
    let control = png_chunk(b"acTL", &[frames.to_be_bytes(), 0u32.to_be_bytes()].concat());
    let frame = |sequence: u32| {
        let sizes = [sequence, first.width(), first.height(), 0, 0].map(u32::to_be_bytes).concat();
        png_chunk(b"fcTL", &[&sizes[..], &[0, 1, 0, 10, 0, 0]].concat())
    };
    let mut bytes = [head, &control, &frame(0), &rest[..end]].concat();
    for number in 1..frames {
        bytes.extend(frame(2 * number - 1));
        bytes.extend(png_chunk(b"fdAT", &[&(2 * number).to_be_bytes()[..], b"not deflate"].concat()));
    }
    [&bytes, &rest[end..]].concat()
}

/// CRC-32 of ISO 3309, as PNG uses it.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    })
}
