//! How good a photo is to look at and to measure. A flag asks for a better photo; it never refuses one.

/// Mean luminance below this is flagged dark. Of 54 drawn photos of all skin tones the darkest has 87; common practice,
/// no source.
pub const DARK_BELOW: f64 = 45.0;
/// Mean luminance above this is flagged too bright. The brightest of the same 54 has 190; common practice, no source.
pub const TOO_BRIGHT_ABOVE: f64 = 220.0;
/// A larger share of burnt-out pixels (luminance 250 and above) is flagged too bright; common practice, no source.
pub const BURNT_OUT_ABOVE: f64 = 0.35;
/// Sharpness below this is flagged blurred. Set on 54 drawn photos with known blur: a blur with a standard deviation of
/// 2.6 px and more on a 2,048 px wide picture gives 14 to 24, all others 28.75 and more. A smear of up to 10 px in one
/// direction alone passes: edges along it stay sharp.
pub const BLURRED_BELOW: f64 = 26.0;
/// A shortest side below this is flagged tiny: a scale card's squares become too small to measure by; common practice,
/// no source.
pub const TINY_BELOW_PX: u32 = 600;

/// What is wrong with a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum QualityFlag {
    /// Part of the file did not arrive; the lower part of the picture may be grey.
    Truncated,
    Dark,
    TooBright,
    Blurred,
    Tiny,
}

impl QualityFlag {
    pub const ALL: [QualityFlag; 5] = [
        QualityFlag::Truncated,
        QualityFlag::Dark,
        QualityFlag::TooBright,
        QualityFlag::Blurred,
        QualityFlag::Tiny,
    ];

    /// Stable word for stored rows.
    pub fn code(self) -> &'static str {
        match self {
            QualityFlag::Truncated => "truncated",
            QualityFlag::Dark => "dark",
            QualityFlag::TooBright => "too_bright",
            QualityFlag::Blurred => "blurred",
            QualityFlag::Tiny => "tiny",
        }
    }

    /// `None` for a word that is no flag's code.
    pub fn from_code(code: &str) -> Option<QualityFlag> {
        QualityFlag::ALL.into_iter().find(|flag| flag.code() == code)
    }
}

/// The numbers behind the flags, taken on the review rendition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quality {
    /// False when the file ended before its picture did.
    pub complete: bool,
    /// Mean of the luminance, 0 (black) to 255 (white).
    pub mean_luminance: f64,
    /// Share of pixels with luminance 250 and above, 0 to 1.
    pub burnt_out: f64,
    /// How strong the strongest edges are at half the review size: the value that one in a thousand pixels exceeds when
    /// the four neighbours are taken from four times the pixel (a Laplacian), 0 to 1020.
    pub sharpness: f64,
    /// Shortest side of the photo as sent, px.
    pub shortest_side_px: u32,
}

impl Quality {
    /// Measures an upright RGB picture. `sent_px` is the photo's size as sent.
    pub(crate) fn measure(rgb: &[u8], width: usize, sent_px: (u32, u32), complete: bool) -> Quality {
        let luminance: Vec<u8> = rgb.as_chunks::<3>().0.iter().map(luminance_of).collect();
        let count = luminance.len().max(1) as f64;
        let sum: u64 = luminance.iter().map(|value| u64::from(*value)).sum();
        let burnt = luminance.iter().filter(|value| **value >= 250).count();
        Quality {
            complete,
            mean_luminance: sum as f64 / count,
            burnt_out: burnt as f64 / count,
            sharpness: sharpness(&luminance, width),
            shortest_side_px: sent_px.0.min(sent_px.1),
        }
    }

    /// What to flag, in the order of `QualityFlag`; empty for a good photo.
    pub fn flags(&self) -> Vec<QualityFlag> {
        let says = |flag: &QualityFlag| match flag {
            QualityFlag::Truncated => !self.complete,
            QualityFlag::Dark => self.mean_luminance < DARK_BELOW,
            QualityFlag::TooBright => {
                self.mean_luminance > TOO_BRIGHT_ABOVE || self.burnt_out > BURNT_OUT_ABOVE
            }
            QualityFlag::Blurred => self.sharpness < BLURRED_BELOW,
            QualityFlag::Tiny => self.shortest_side_px < TINY_BELOW_PX,
        };
        QualityFlag::ALL.into_iter().filter(says).collect()
    }
}

/// Rec. 601 weights, as in JPEG.
fn luminance_of([r, g, b]: &[u8; 3]) -> u8 {
    ((u32::from(*r) * 77 + u32::from(*g) * 150 + u32::from(*b) * 29 + 128) >> 8) as u8
}

/// See `Quality::sharpness`. Halving first averages out sensor noise, which would pass for detail.
fn sharpness(luminance: &[u8], width: usize) -> f64 {
    let (half, width) = halved(luminance, width);
    let height = half.len().checked_div(width).unwrap_or(0);
    if width < 3 || height < 3 {
        return 0.0;
    }
    // Fourfold luminance goes to 1,020, so the fourfold Laplacian to 4,080.
    let mut seen = vec![0u32; 4_081];
    for line in 1..height - 1 {
        let row = |at: usize| &half[at * width..(at + 1) * width];
        let (above, here, below) = (row(line - 1), row(line), row(line + 1));
        for x in 1..width - 1 {
            let around = above[x] + below[x] + here[x - 1] + here[x + 1];
            seen[usize::from((4 * here[x]).abs_diff(around)).min(4_080)] += 1;
        }
    }
    let thousandth = ((width - 2) * (height - 2) / 1_000) as u32;
    let mut above = 0;
    let strongest = seen.iter().enumerate().rev().find(|(_, count)| {
        above += **count;
        above > thousandth
    });
    strongest.map_or(0.0, |(fourfold, _)| fourfold as f64 / 4.0)
}

/// Sums of two by two pixels (so four times the luminance), and the new width.
fn halved(luminance: &[u8], width: usize) -> (Vec<u16>, usize) {
    let half = width / 2;
    let mut out = Vec::with_capacity(luminance.len() / 4);
    for rows in luminance.chunks_exact(2 * width.max(1)) {
        let (upper, lower) = rows.split_at(width);
        let pairs = upper.as_chunks::<2>().0.iter().zip(lower.as_chunks::<2>().0);
        out.extend(pairs.map(|(a, b)| u16::from(a[0]) + u16::from(a[1]) + u16::from(b[0]) + u16::from(b[1])));
    }
    (out, half)
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: Quality = Quality {
        complete: true,
        mean_luminance: 130.0,
        burnt_out: 0.0,
        sharpness: 90.0,
        shortest_side_px: 3_024,
    };

    #[test]
    fn a_good_photo_has_no_flag() {
        assert_eq!(GOOD.flags(), []);
    }

    #[test]
    fn every_threshold_flags_on_one_side_only() {
        let cases = [
            (Quality { mean_luminance: DARK_BELOW, ..GOOD }, None),
            (Quality { mean_luminance: DARK_BELOW - 0.01, ..GOOD }, Some(QualityFlag::Dark)),
            (Quality { mean_luminance: TOO_BRIGHT_ABOVE, ..GOOD }, None),
            (Quality { mean_luminance: TOO_BRIGHT_ABOVE + 0.01, ..GOOD }, Some(QualityFlag::TooBright)),
            (Quality { burnt_out: BURNT_OUT_ABOVE, ..GOOD }, None),
            (Quality { burnt_out: BURNT_OUT_ABOVE + 0.001, ..GOOD }, Some(QualityFlag::TooBright)),
            (Quality { sharpness: BLURRED_BELOW, ..GOOD }, None),
            (Quality { sharpness: BLURRED_BELOW - 0.25, ..GOOD }, Some(QualityFlag::Blurred)),
            (Quality { shortest_side_px: TINY_BELOW_PX, ..GOOD }, None),
            (Quality { shortest_side_px: TINY_BELOW_PX - 1, ..GOOD }, Some(QualityFlag::Tiny)),
            (Quality { complete: false, ..GOOD }, Some(QualityFlag::Truncated)),
        ];
        for (quality, flag) in cases {
            assert_eq!(quality.flags(), Vec::from_iter(flag), "{quality:?}");
        }
    }

    fn measured(width: usize, height: usize, value: impl Fn(usize, usize) -> u8) -> Quality {
        let rgb: Vec<u8> = (0..height)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .flat_map(|(x, y)| [value(x, y); 3])
            .collect();
        Quality::measure(&rgb, width, (width as u32, height as u32), true)
    }

    #[test]
    fn the_mean_and_the_burnt_out_share_are_what_they_say() {
        let half_white = measured(100, 100, |x, _| if x < 50 { 255 } else { 5 });
        assert_eq!(half_white.mean_luminance, 130.0);
        assert_eq!(half_white.burnt_out, 0.5);
        assert_eq!(measured(10, 10, |_, _| 249).burnt_out, 0.0);
        assert_eq!(measured(10, 10, |_, _| 250).burnt_out, 1.0);
    }

    #[test]
    fn an_edge_loses_sharpness_as_it_is_spread_out() {
        let edge = |spread: usize| {
            measured(400, 400, |x, _| (50 + 150 * (x.clamp(201, 201 + spread) - 201) / spread.max(1)) as u8)
        };
        let [hard, soft, softer] = [1, 8, 40].map(|spread| edge(spread).sharpness);
        assert!(hard > soft && soft > softer, "{hard} {soft} {softer}");
        // A step of 150 between two columns that do not share a halved pixel or do: the Laplacian is the step or half.
        assert!((75.0..=150.0).contains(&hard), "{hard}");
    }

    #[test]
    fn a_blank_or_minute_picture_has_no_sharpness() {
        assert_eq!(measured(100, 100, |_, _| 128).sharpness, 0.0);
        for side in [1, 2, 5] {
            assert_eq!(measured(side, side, |x, _| x as u8).sharpness, 0.0);
        }
    }

    #[test]
    fn a_flag_reads_back_from_its_code() {
        for flag in QualityFlag::ALL {
            assert_eq!(QualityFlag::from_code(flag.code()), Some(flag));
        }
        assert_eq!(QualityFlag::from_code("fine"), None);
    }
}
