//! The edge drawn to where the light is half wound and half skin.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::SkinPlane;
use crate::wound::outline::sides;
use crate::wound::tint::median;
use crate::wound::view::Light;
use crate::wound::view::sample;

/// The ring is looked at from places this far apart, mm.
const APART_MM: f64 = 0.4;
/// A ring with fewer places than this is left as it is.
const FEWEST: usize = 8;
/// Light is looked at from this many steps inside the ring to as many outside.
const STEPS: usize = 20;
const STEP_MM: f32 = 0.08;
/// Wound and skin are taken from at least this many steps away (0.64 mm).
const CLEAR_STEPS: usize = 8;
/// The edge is moved by this many steps at most (0.56 mm).
const MOST_STEPS: usize = 7;
/// Share of wound in the light at the edge. Half is where it would be by geometry alone. Calibrated on two sets of drawn
/// pictures from different painters: at 0.5 one reads 2 % of area too much and the other nothing; this lies between.
const LEVEL: f32 = 0.6;
/// Light inside and outside that differ by less than this (squared) tell no edge.
const LEAST_STEP: f32 = 1e-5;
/// Places to either side whose light is averaged for wound and skin: the bed is grainy.
const GRAIN_PLACES: usize = 2;
/// Places to either side whose shifts are compared: one odd place does not bend the edge.
const SHIFT_PLACES: usize = 4;

/// The ring moved so that it runs where the light passes from wound to skin. `outer`: the wound lies inside the ring;
/// otherwise the ring is an island's.
pub(in crate::wound) fn snapped(
    picture: &Picture,
    plane: &SkinPlane,
    ring: &[MmPoint],
    side: WoundLies,
) -> Vec<MmPoint> {
    let ring = even(ring, APART_MM);
    if ring.len() < FEWEST {
        return ring;
    }
    let outwards = outwards(&ring, side);
    let profiles: Vec<Option<Profile>> =
        ring.iter().zip(&outwards).map(|(at, out)| Profile::across(picture, plane, *at, *out)).collect();
    let shifts: Vec<Option<f32>> = (0..ring.len()).map(|at| shift(&profiles, at)).collect();
    let usual = median(shifts.iter().flatten().copied().collect());
    let moved = |at: usize| {
        let near: Vec<f32> = around(at, SHIFT_PLACES, ring.len()).filter_map(|at| shifts[at]).collect();
        let by_mm = f64::from(if near.len() < SHIFT_PLACES { usual } else { median(near) });
        MmPoint { x_mm: ring[at].x_mm + outwards[at].0 * by_mm, y_mm: ring[at].y_mm + outwards[at].1 * by_mm }
    };
    (0..ring.len()).map(moved).collect()
}

/// On which side of a ring the wound is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(in crate::wound) enum WoundLies {
    Inside,
    Outside,
}

/// Light along a line across the ring, from the wound to the skin.
struct Profile(Vec<Light>);

impl Profile {
    /// `None` where the picture ends.
    fn across(picture: &Picture, plane: &SkinPlane, at: MmPoint, out: (f64, f64)) -> Option<Profile> {
        let light = |step: usize| {
            let off_mm = (step as f64 - STEPS as f64) * f64::from(STEP_MM);
            let place = MmPoint { x_mm: at.x_mm + out.0 * off_mm, y_mm: at.y_mm + out.1 * off_mm };
            sample(picture, plane.to_px(place))
        };
        (0..=2 * STEPS).map(light).collect::<Option<Vec<Light>>>().map(Profile)
    }

    fn wound(&self) -> Light {
        mean(&self.0[..=STEPS - CLEAR_STEPS])
    }

    fn skin(&self) -> Light {
        mean(&self.0[STEPS + CLEAR_STEPS..])
    }
}

fn mean(lights: &[Light]) -> Light {
    [0, 1, 2].map(|c: usize| lights.iter().map(|light| light[c]).sum::<f32>() / lights.len().max(1) as f32)
}

/// How far outwards the light passes from wound to skin, mm; the nearest such place. `None`: nowhere near.
fn shift(profiles: &[Option<Profile>], at: usize) -> Option<f32> {
    let profile = profiles[at].as_ref()?;
    let near = || around(at, GRAIN_PLACES, profiles.len()).filter_map(|at| profiles[at].as_ref());
    let wound = mean(&near().map(Profile::wound).collect::<Vec<Light>>());
    let skin = mean(&near().map(Profile::skin).collect::<Vec<Light>>());
    let apart = [0, 1, 2].map(|c: usize| wound[c] - skin[c]);
    let squared: f32 = apart.iter().map(|value| value * value).sum();
    if squared < LEAST_STEP {
        return None;
    }
    let share =
        |step: usize| (0..3).map(|c| (profile.0[step][c] - skin[c]) * apart[c]).sum::<f32>() / squared;
    let passes = (STEPS - MOST_STEPS..STEPS + MOST_STEPS).filter_map(|step| {
        let (here, next) = (share(step), share(step + 1));
        let part = (here - LEVEL) / (here - next);
        (here >= LEVEL && next < LEVEL).then_some((step as f32 - STEPS as f32 + part) * STEP_MM)
    });
    passes.min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

/// A place of a closed ring and its neighbours to either side.
fn around(at: usize, to_either_side: usize, count: usize) -> impl Iterator<Item = usize> {
    (0..=2 * to_either_side).map(move |step| (at + count + step - to_either_side) % count)
}

/// Unit vectors from the wound to the skin.
fn outwards(ring: &[MmPoint], side: WoundLies) -> Vec<(f64, f64)> {
    let turns_right: f64 = sides(ring).map(|(a, b)| a.x_mm * b.y_mm - b.x_mm * a.y_mm).sum();
    let sign = if (turns_right > 0.0) == (side == WoundLies::Inside) { 1.0 } else { -1.0 };
    let normal = |at: usize| {
        let (a, b) = (ring[(at + ring.len() - 2) % ring.len()], ring[(at + 2) % ring.len()]);
        let (dx, dy) = (b.x_mm - a.x_mm, b.y_mm - a.y_mm);
        let length = dx.hypot(dy).max(1e-9);
        (sign * dy / length, -sign * dx / length)
    };
    (0..ring.len()).map(normal).collect()
}

/// The ring with points at even distances.
pub(in crate::wound) fn even(ring: &[MmPoint], apart_mm: f64) -> Vec<MmPoint> {
    let mut out = Vec::new();
    let mut left = 0.0;
    for (a, b) in sides(ring) {
        let length = a.distance_mm(b);
        let mut along = left;
        while along < length {
            let share = along / length;
            out.push(MmPoint {
                x_mm: a.x_mm + share * (b.x_mm - a.x_mm),
                y_mm: a.y_mm + share * (b.y_mm - a.y_mm),
            });
            along += apart_mm;
        }
        left = along - length;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::Outline;

    /// A disc of another light on even ground, its edge spread over a pixel or two, seen at 5 px/mm.
    fn disc(radius_mm: f64, inside: [u8; 3], outside: [u8; 3]) -> (Picture, SkinPlane) {
        let side = 300usize;
        let mut rgb = Vec::new();
        let linear = |level: u8| f64::from(crate::photo::linear_light()[usize::from(level)]);
        for y in 0..side {
            for x in 0..side {
                let far_px = (x as f64 + 0.5 - 150.0).hypot(y as f64 + 0.5 - 150.0);
                let share = (0.5 - (far_px - radius_mm * 5.0) / 2.0).clamp(0.0, 1.0);
                for c in 0..3 {
                    let light = share * linear(inside[c]) + (1.0 - share) * linear(outside[c]);
                    let encoded = if light <= 0.003_130_8 {
                        12.92 * light
                    } else {
                        1.055 * light.powf(1.0 / 2.4) - 0.055
                    };
                    rgb.push((encoded * 255.0).round() as u8);
                }
            }
        }
        let plane =
            SkinPlane::from_px_to_mm([[0.2, 0.0, -30.0], [0.0, 0.2, -30.0], [0.0, 0.0, 1.0]]).unwrap();
        (Picture::new(side, side, rgb).unwrap(), plane)
    }

    fn circle(radius_mm: f64) -> Vec<MmPoint> {
        let at = |degree: usize| (degree as f64).to_radians();
        (0..360)
            .step_by(3)
            .map(|d| MmPoint { x_mm: radius_mm * at(d).cos(), y_mm: radius_mm * at(d).sin() })
            .collect()
    }

    #[test]
    fn an_edge_drawn_a_little_off_moves_to_where_the_light_changes() {
        let (picture, plane) = disc(12.0, [150, 40, 40], [210, 160, 140]);
        for drawn_mm in [11.7, 12.0, 12.3] {
            let ring = snapped(&picture, &plane, &circle(drawn_mm), WoundLies::Inside);
            let area = Outline::of_ring(ring).unwrap().area_mm2();
            let radius = (area / std::f64::consts::PI).sqrt();
            assert!((radius - 12.0).abs() < 0.06, "{drawn_mm}: {radius}");
        }
    }

    #[test]
    fn an_islands_edge_moves_as_well() {
        let (picture, plane) = disc(8.0, [210, 160, 140], [150, 40, 40]);
        let ring = snapped(&picture, &plane, &circle(8.3), WoundLies::Outside);
        let radius = (Outline::of_ring(ring).unwrap().area_mm2() / std::f64::consts::PI).sqrt();
        assert!((radius - 8.0).abs() < 0.06, "{radius}");
    }

    #[test]
    fn without_a_step_in_the_light_the_edge_stays() {
        let (picture, plane) = disc(8.0, [180, 120, 110], [180, 120, 110]);
        let ring = snapped(&picture, &plane, &circle(10.0), WoundLies::Inside);
        let radius = (Outline::of_ring(ring).unwrap().area_mm2() / std::f64::consts::PI).sqrt();
        assert!((radius - 10.0).abs() < 0.02, "{radius}");
    }

    #[test]
    fn even_places_keep_the_ring() {
        let square = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]].map(MmPoint::from);
        let places = even(&square, 0.5);
        assert_eq!(places.len(), 80);
        assert!((Outline::of_ring(places).unwrap().area_mm2() - 100.0).abs() < 1e-9);
    }
}
