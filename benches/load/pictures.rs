//! A large photo, painted and encoded once, and as many different files of it as are wanted.

use std::io::Cursor;

use image::ImageFormat;
use image::Rgb;
use image::RgbImage;

use closewatch::ids::Chance;

/// A photo of so many pixels: skin, a wound, and the grain of a camera, so that it weighs what a phone's weighs.
pub struct Picture {
    jpeg: Vec<u8>,
}

impl Picture {
    pub fn painted(width: u32, height: u32) -> Picture {
        let grain = Chance::seeded(5).bytes::<4_099>();
        let picture = RgbImage::from_fn(width, height, |x, y| {
            let (dx, dy) = (f64::from(x) / f64::from(width) - 0.5, f64::from(y) / f64::from(height) - 0.5);
            let base = match dx.hypot(dy) {
                near if near < 0.12 => [150, 40, 45],
                near if near < 0.16 => [205, 110, 100],
                _ => [215, 170, 150],
            };
            let place = (x as usize * 31 + y as usize * 1_009) % grain.len();
            Rgb(base.map(|channel: u8| channel.saturating_add(grain[place] % 24)))
        });
        let mut jpeg = Cursor::new(Vec::new());
        picture.write_to(&mut jpeg, ImageFormat::Jpeg).expect("a painted picture can be encoded");
        Picture { jpeg: jpeg.into_inner() }
    }

    /// The same picture in a file of its own: its number stands in a comment of the file (ITU-T T.81, B.2.4.5).
    pub fn numbered(&self, number: u64) -> Vec<u8> {
        let mut bytes = self.jpeg[..2].to_vec();
        bytes.extend_from_slice(&[0xff, 0xfe, 0, 10]);
        bytes.extend_from_slice(&number.to_be_bytes());
        bytes.extend_from_slice(&self.jpeg[2..]);
        bytes
    }
}
