//! Colour as the eye sees it: CIE L*a*b*, the difference between two colours, and how light skin is.

/// L*, a*, b* (D65, 2° observer).
pub type Lab = [f64; 3];

/// Reference white of D65 for the 2° observer.
const WHITE: [f64; 3] = [0.950_47, 1.0, 1.088_83];

/// From linear sRGB light (0–1; IEC 61966-2-1 primaries) to CIE L*a*b* (CIE 15:2004).
pub fn lab([r, g, b]: [f64; 3]) -> Lab {
    let xyz = [
        0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b,
        0.212_672_9 * r + 0.715_152_2 * g + 0.072_175 * b,
        0.019_333_9 * r + 0.119_192 * g + 0.950_304_1 * b,
    ];
    let f = |t: f64| if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 };
    let [x, y, z] = [0, 1, 2].map(|axis: usize| f(xyz[axis] / WHITE[axis]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// CIEDE2000 colour difference (Sharma, Wu and Dalal 2005, Color Res. Appl. 30:21), all weights 1.
pub fn ciede2000(one: Lab, other: Lab) -> f64 {
    let chroma = |lab: Lab| lab[1].hypot(lab[2]);
    let seventh = |c: f64| (c.powi(7) / (c.powi(7) + 25f64.powi(7))).sqrt();
    let grey = 0.5 * (1.0 - seventh((chroma(one) + chroma(other)) / 2.0));
    let stretched = |lab: Lab| {
        let a = (1.0 + grey) * lab[1];
        let hue =
            if a == 0.0 && lab[2] == 0.0 { 0.0 } else { lab[2].atan2(a).to_degrees().rem_euclid(360.0) };
        (a.hypot(lab[2]), hue)
    };
    let ((c1, h1), (c2, h2)) = (stretched(one), stretched(other));
    let grey_pair = c1 * c2 == 0.0;
    let turn = match h2 - h1 {
        _ if grey_pair => 0.0,
        turn if turn > 180.0 => turn - 360.0,
        turn if turn < -180.0 => turn + 360.0,
        turn => turn,
    };
    let delta_hue = 2.0 * (c1 * c2).sqrt() * (turn / 2.0).to_radians().sin();
    let hue = match h1 + h2 {
        sum if grey_pair => sum,
        sum if (h1 - h2).abs() <= 180.0 => sum / 2.0,
        sum if sum < 360.0 => (sum + 360.0) / 2.0,
        sum => (sum - 360.0) / 2.0,
    };
    let (light, c) = ((one[0] + other[0]) / 2.0, (c1 + c2) / 2.0);
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cos(hue - 30.0) + 0.24 * cos(2.0 * hue) + 0.32 * cos(3.0 * hue + 6.0)
        - 0.20 * cos(4.0 * hue - 63.0);
    let fifty = (light - 50.0).powi(2);
    let weight_l = 1.0 + 0.015 * fifty / (20.0 + fifty).sqrt();
    let (weight_c, weight_h) = (1.0 + 0.045 * c, 1.0 + 0.015 * c * t);
    let rotation = -2.0 * seventh(c) * (60.0 * (-((hue - 275.0) / 25.0).powi(2)).exp()).to_radians().sin();
    let l = (other[0] - one[0]) / weight_l;
    let c = (c2 - c1) / weight_c;
    let h = delta_hue / weight_h;
    (l * l + c * c + h * h + rotation * c * h).sqrt()
}

/// Individual typology angle of skin, degrees (Chardon, Cretois and Hourseau 1991): lighter skin is higher. `None` for a
/// colour that skin does not have under white light (b* not above 0).
pub fn ita_deg(lab: Lab) -> Option<f64> {
    (lab[2] > 0.0).then(|| (lab[0] - 50.0).atan2(lab[2]).to_degrees())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pairs 1–8 and 10–20 of the supplementary data to Sharma, Wu and Dalal 2005. Pair 9 of the list lies exactly at a
    /// hue difference of 180°, where rounding decides; it is left out.
    #[test]
    fn colour_differences_agree_with_the_published_pairs() {
        let published: Vec<[f64; 7]> = include_str!("../../tests/truth/ciede2000.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(|line| {
                let numbers: Vec<f64> =
                    line.split(',').map(|number| number.trim().parse().unwrap()).collect();
                numbers.try_into().unwrap()
            })
            .collect();
        assert_eq!(published.len(), 19);
        for [l1, a1, b1, l2, a2, b2, expected] in published {
            let found = ciede2000([l1, a1, b1], [l2, a2, b2]);
            assert!(
                (found - expected).abs() < 0.000_06,
                "{l1} {a1} {b1} to {l2} {a2} {b2}: {found}, not {expected}"
            );
            assert!((ciede2000([l2, a2, b2], [l1, a1, b1]) - expected).abs() < 0.000_06);
        }
    }

    fn of_srgb(levels: [u8; 3]) -> Lab {
        lab(levels.map(|level| f64::from(crate::photo::linear_light()[usize::from(level)])))
    }

    /// Computed two independent ways to within 0.03; older matrices with four decimals move the last digits.
    #[test]
    fn srgb_colours_have_their_place_in_lab() {
        let expected = [
            ([255, 255, 255], [100.0, 0.0, 0.0]),
            ([119, 119, 119], [50.03, 0.0, 0.0]),
            ([255, 0, 0], [53.24, 80.09, 67.20]),
            ([0, 255, 0], [87.74, -86.18, 83.18]),
            ([0, 0, 255], [32.30, 79.19, -107.86]),
            ([178, 34, 34], [39.12, 55.92, 37.65]),
            ([230, 210, 120], [84.11, -4.81, 46.86]),
            ([60, 60, 50], [25.02, -2.11, 6.20]),
            ([141, 85, 54], [41.89, 20.08, 27.70]),
        ];
        for (levels, lab) in expected {
            let found = of_srgb(levels);
            assert!(
                (0..3).all(|axis| (found[axis] - lab[axis]).abs() < 0.05),
                "{levels:?}: {found:?}, not {lab:?}"
            );
        }
    }

    #[test]
    fn lighter_skin_has_the_higher_angle() {
        let worked = [([70.0, 15.0, 18.0], 48.0), ([40.0, 18.0, 15.0], -33.7)];
        for (lab, degrees) in worked {
            assert!((ita_deg(lab).unwrap() - degrees).abs() < 0.05);
        }
        let patches = [
            ([240, 200, 180], 65.5),
            ([224, 172, 138], 44.4),
            ([198, 134, 96], 20.9),
            ([141, 85, 54], -16.3),
        ];
        for (levels, degrees) in patches {
            assert!((ita_deg(of_srgb(levels)).unwrap() - degrees).abs() < 0.3, "{levels:?}");
        }
        assert_eq!(ita_deg([50.0, 0.0, 0.0]), None);
    }

    /// Random colours as colour-science sees them (`tests/outside/wound/check.py`). It derives the reference white from
    /// its coordinates; ours is the standard's, which moves b* by 0.02.
    #[test]
    fn colours_and_their_differences_are_those_of_another_program() {
        let kept: serde_json::Value =
            serde_json::from_str(include_str!("../../tests/truth/colours.json")).unwrap();
        let levels: Vec<[u8; 3]> = serde_json::from_value(kept["levels"].clone()).unwrap();
        let labs: Vec<Lab> = serde_json::from_value(kept["lab"].clone()).unwrap();
        let to_next: Vec<f64> = serde_json::from_value(kept["ciede2000_to_the_next"].clone()).unwrap();
        assert!(levels.len() == 60 && labs.len() == 60 && to_next.len() == 60);
        for (at, (levels, theirs)) in levels.iter().zip(&labs).enumerate() {
            let ours = of_srgb(*levels);
            let off = (0..3).map(|axis| (ours[axis] - theirs[axis]).abs()).fold(0.0, f64::max);
            assert!(off < 0.03, "{levels:?}: {ours:?}, not {theirs:?}");
            let difference = ciede2000(*theirs, labs[(at + 1) % labs.len()]);
            assert!((difference - to_next[at]).abs() < 0.001, "{at}: {difference}, not {}", to_next[at]);
        }
    }
}
