//! A measured photo with what was found drawn on it.

use image::Rgb;
use image::RgbImage;

use crate::cli::measure_photo::Measured;
use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::wound::Redness;
use crate::wound::Standing;

const EDGE: Rgb<u8> = Rgb([0, 229, 255]);
const REDNESS: Rgb<u8> = Rgb([255, 64, 255]);
const CARD: Rgb<u8> = Rgb([255, 226, 64]);
const TAP: Rgb<u8> = Rgb([255, 255, 255]);
const DARK: Rgb<u8> = Rgb([24, 20, 24]);
/// Pixels for one dot of the lettering.
const DOT: i64 = 4;

/// The review rendition with the wound's edge, islands, redness edge, card, tapped place and numbers.
pub(in crate::cli) fn draw(found: &Measured) -> RgbImage {
    let picture = &found.picture;
    let (width, height) = (picture.width() as u32, picture.height() as u32);
    let mut image = RgbImage::from_raw(width, height, picture.rgb().to_vec()).unwrap_or_default();
    let measurement = &found.measurement;
    if let (Some(plane), Some(outline)) = (&measurement.plane, &measurement.outline) {
        let px = |ring: &[MmPoint]| ring.iter().map(|at| plane.to_px(*at)).collect::<Vec<PxPoint>>();
        for piece in outline.pieces() {
            for ring in std::iter::once(&piece.edge).chain(&piece.islands) {
                line(&mut image, &px(ring), EDGE);
            }
        }
        if let Redness::Reach(reach) = &measurement.redness {
            line(&mut image, &px(&reach.edge), REDNESS);
        }
    }
    if let Some(card) = &measurement.card {
        line(&mut image, &card.corners_px, CARD);
    }
    if let Some(tap) = found.tap {
        let at = |dx: f64, dy: f64| PxPoint { x_px: tap.x_px + dx, y_px: tap.y_px + dy };
        line(&mut image, &[at(-9.0, 0.0), at(9.0, 0.0)], TAP);
        line(&mut image, &[at(0.0, -9.0), at(0.0, 9.0)], TAP);
    }
    for (row, text) in labels(found).iter().enumerate() {
        letter(&mut image, 12, 12 + row as i64 * 9 * DOT, text);
    }
    image
}

fn labels(found: &Measured) -> Vec<String> {
    let measurement = &found.measurement;
    let standing = serde_json::to_value(measurement.standing).unwrap_or_default();
    let mut labels = vec![standing.as_str().unwrap_or_default().replace('_', " ")];
    if let Some(size) = measurement.counted_size() {
        labels.push(format!(
            "area {:.0} mm2 +-{:.0} %",
            size.area_mm2.value,
            100.0 * size.area_mm2.relative_error()
        ));
        labels.push(format!("{:.1} x {:.1} mm", size.length_mm.value, size.width_mm.value));
    }
    labels.push(match &measurement.redness {
        Redness::Reach(reach) if measurement.standing == Standing::Ok => {
            format!("red {:.1} mm max {:.1}", reach.p95_mm.value, reach.max_mm.value)
        }
        Redness::Reach(_) => "red seen".to_owned(),
        Redness::CannotTell => "red cannot tell".to_owned(),
        Redness::NoContrast { .. } => "red no contrast".to_owned(),
        Redness::NotGiven { .. } => "red not given".to_owned(),
    });
    if let (Some(bed), Standing::Ok) = (&measurement.bed, measurement.standing) {
        let percent = |share: f64| (100.0 * share).round();
        let [red, yellow, dark] = [bed.granulation, bed.yellow, bed.dark].map(|share| percent(share.value));
        labels.push(format!("bed {red} / {yellow} / {dark} %"));
    }
    for because in &measurement.because {
        let code = serde_json::to_value(because).unwrap_or_default();
        labels.push(code.as_str().unwrap_or_default().replace('_', " "));
    }
    labels
}

/// A closed line two pixels wide.
fn line(image: &mut RgbImage, ring: &[PxPoint], colour: Rgb<u8>) {
    for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        let length = (b.x_px - a.x_px).hypot(b.y_px - a.y_px);
        // A place beyond the horizon of the plane would make the line endless.
        if !length.is_finite() || length > 10_000.0 {
            continue;
        }
        let steps = (2.0 * length).ceil().max(1.0) as u32;
        for step in 0..steps {
            let share = f64::from(step) / f64::from(steps);
            let (x, y) = (a.x_px + share * (b.x_px - a.x_px), a.y_px + share * (b.y_px - a.y_px));
            for (dx, dy) in [(-0.5, -0.5), (0.5, -0.5), (-0.5, 0.5), (0.5, 0.5)] {
                dot(image, (x + dx).floor() as i64, (y + dy).floor() as i64, colour);
            }
        }
    }
}

fn dot(image: &mut RgbImage, x: i64, y: i64, colour: Rgb<u8>) {
    if let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y))
        && x < image.width()
        && y < image.height()
    {
        image.put_pixel(x, y, colour);
    }
}

/// Light letters on a dark ground.
fn letter(image: &mut RgbImage, left: i64, top: i64, text: &str) {
    let wide = text.chars().count() as i64 * 4 * DOT + DOT;
    for y in top - DOT..top + 6 * DOT {
        for x in left - DOT..left + wide {
            dot(image, x, y, DARK);
        }
    }
    for (place, letter) in text.chars().enumerate() {
        for (row, dots) in shape(letter).iter().enumerate() {
            for column in 0..3i64 {
                if dots >> (2 - column) & 1 == 1 {
                    let (x, y) = (left + (place as i64 * 4 + column) * DOT, top + row as i64 * DOT);
                    (0..DOT * DOT).for_each(|at| dot(image, x + at % DOT, y + at / DOT, TAP));
                }
            }
        }
    }
}

/// Letters of three by five dots, a number for each row from the top; what has no shape is left blank.
fn shape(letter: char) -> [u8; 5] {
    match letter.to_ascii_lowercase() {
        '0' => [7, 5, 5, 5, 7],
        '1' => [2, 6, 2, 2, 7],
        '2' => [7, 1, 7, 4, 7],
        '3' => [7, 1, 3, 1, 7],
        '4' => [5, 5, 7, 1, 1],
        '5' => [7, 4, 7, 1, 7],
        '6' => [7, 4, 7, 5, 7],
        '7' => [7, 1, 2, 2, 2],
        '8' => [7, 5, 7, 5, 7],
        '9' => [7, 5, 7, 1, 7],
        'a' => [2, 5, 7, 5, 5],
        'b' => [6, 5, 6, 5, 6],
        'c' => [3, 4, 4, 4, 3],
        'd' => [6, 5, 5, 5, 6],
        'e' => [7, 4, 6, 4, 7],
        'f' => [7, 4, 6, 4, 4],
        'g' => [3, 4, 5, 5, 3],
        'h' => [5, 5, 7, 5, 5],
        'i' => [7, 2, 2, 2, 7],
        'j' => [1, 1, 1, 5, 2],
        'k' => [5, 5, 6, 5, 5],
        'l' => [4, 4, 4, 4, 7],
        'm' => [5, 7, 7, 5, 5],
        'n' => [6, 5, 5, 5, 5],
        'o' => [2, 5, 5, 5, 2],
        'p' => [6, 5, 6, 4, 4],
        'q' => [2, 5, 5, 6, 3],
        'r' => [6, 5, 6, 5, 5],
        's' => [3, 4, 2, 1, 6],
        't' => [7, 2, 2, 2, 2],
        'u' => [5, 5, 5, 5, 7],
        'v' => [5, 5, 5, 5, 2],
        'w' => [5, 5, 7, 7, 5],
        'x' => [5, 5, 2, 5, 5],
        'y' => [5, 5, 2, 2, 2],
        'z' => [7, 1, 2, 4, 7],
        '.' => [0, 0, 0, 0, 2],
        '%' => [5, 1, 2, 4, 5],
        '+' => [0, 2, 7, 2, 0],
        '-' => [0, 0, 7, 0, 0],
        '/' => [1, 1, 2, 4, 4],
        _ => [0; 5],
    }
}
