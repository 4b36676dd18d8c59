//! Wide-gamut photos keep their reds: compared with what littlecms makes of the same files.

use crate::photo_samples::cleaned;
use crate::photo_samples::opened;
use crate::photo_samples::sample;
use serde_json::Value;

/// CIE L*a*b* (D65) of 8-bit sRGB: IEC 61966-2-1, CIE 15.
fn lab([r, g, b]: [u8; 3]) -> [f64; 3] {
    let linear = |value: u8| {
        let c = f64::from(value) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    let [r, g, b] = [linear(r), linear(g), linear(b)];
    let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047;
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883;
    let f = |t: f64| if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 };
    [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
}

fn triple(value: &Value) -> [f64; 3] {
    [0, 1, 2].map(|at| value[at].as_f64().unwrap())
}

/// CIE 1976 colour difference.
fn delta_e(one: [f64; 3], other: [f64; 3]) -> f64 {
    one.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

fn compare(name: &str) {
    let truth: Value = serde_json::from_slice(&sample("colour.json")).unwrap();
    let patch = truth["patch_px"].as_u64().unwrap() as u32;
    let picture = opened(cleaned(&sample(name)).full());
    let expected = truth[name]["lab"].as_array().unwrap();
    let mut worst_unconverted: f64 = 0.0;
    for (number, expected) in expected.iter().enumerate() {
        let got = picture.get_pixel(number as u32 * patch + patch / 2, patch / 2).0;
        let off = delta_e(lab(got), triple(expected));
        assert!(off < 2.0, "{name}, patch {number}: {got:?} is {off:.2} off");
        let sent = triple(&truth[name]["sent"][number]).map(|value| value as u8);
        worst_unconverted = worst_unconverted.max(delta_e(lab(sent), triple(expected)));
    }
    assert!(worst_unconverted > 5.0, "the sample would show a missing conversion: {worst_unconverted:.2}");
}

#[test]
fn display_p3_patches_are_within_two_of_the_reference() {
    compare("p3.jpg");
}

#[test]
fn adobe_rgb_patches_are_within_two_of_the_reference() {
    compare("adobe.jpg");
}
