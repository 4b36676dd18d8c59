//! The picture as a file from a phone.

use jpeg_encoder::ColorType;
use jpeg_encoder::Encoder;
use jpeg_encoder::SamplingFactor;

use super::Painted;

pub fn jpeg(painted: &Painted) -> Vec<u8> {
    let quality = painted.truth.params.jpeg_q;
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, quality);
    // Phones halve the colour at all but their best quality.
    encoder.set_sampling_factor(if quality >= 92 { SamplingFactor::F_1_1 } else { SamplingFactor::F_2_2 });
    let exif = exif(painted.truth.params.focal_35mm);
    encoder.add_exif_metadata(&exif).expect("a small block of metadata fits into a JPEG file");
    let (width, height) = (painted.width as u16, painted.height as u16);
    encoder.encode(&painted.rgb, width, height, ColorType::Rgb).expect("three bytes for every pixel");
    bytes
}

/// A TIFF block (Exif 2.3): orientation upright in the first directory, focal length as on 35 mm film in the Exif one.
fn exif(focal_35mm: u16) -> Vec<u8> {
    const ORIENTATION: u16 = 0x0112;
    const EXIF_DIRECTORY: u16 = 0x8769;
    const FOCAL_35MM: u16 = 0xa405;
    let short = |tag: u16, value: u16| {
        [tag.to_le_bytes(), 3_u16.to_le_bytes(), 1_u16.to_le_bytes(), [0; 2], value.to_le_bytes(), [0; 2]]
            .concat()
    };
    let mut tiff = b"II*\0\x08\0\0\0".to_vec();
    tiff.extend(2_u16.to_le_bytes());
    tiff.extend(short(ORIENTATION, 1));
    let exif_at: u32 = 8 + 2 + 2 * 12 + 4;
    tiff.extend(EXIF_DIRECTORY.to_le_bytes());
    tiff.extend(4_u16.to_le_bytes());
    tiff.extend(1_u32.to_le_bytes());
    tiff.extend(exif_at.to_le_bytes());
    tiff.extend(0_u32.to_le_bytes());
    tiff.extend(1_u16.to_le_bytes());
    tiff.extend(short(FOCAL_35MM, focal_35mm));
    tiff.extend(0_u32.to_le_bytes());
    tiff
}
