//! How likely a colour belongs to a region: a few three-dimensional normal distributions fitted to the region's colours.

use crate::wound::tint::Tint;

/// Distributions in one mixture.
const PARTS: usize = 5;
/// Colours a mixture is fitted to at most, taken evenly.
const SAMPLES: usize = 3_000;
/// Least variance along each axis: below it a flat patch would rule out every other colour.
const LEAST_VARIANCE: f32 = 1.5;

#[derive(Clone, Copy)]
struct Part {
    mean: Tint,
    /// Inverse covariance: xx, xy, xz, yy, yz, zz.
    inverse: [f32; 6],
    /// −ln of the weight and of the normalising factor.
    base: f32,
}

/// Invariant: at least one part.
pub(in crate::wound) struct Mixture {
    parts: Vec<Part>,
}

impl Mixture {
    /// `None` for too few colours to fit anything to.
    pub(in crate::wound) fn fit(colours: &[Tint]) -> Option<Mixture> {
        if colours.len() < 10 {
            return None;
        }
        let step = colours.len().div_ceil(SAMPLES);
        let sample: Vec<Tint> = colours.iter().step_by(step).copied().collect();
        let mut means = spread_out(&sample);
        let mut member = vec![0usize; sample.len()];
        for _ in 0..6 {
            for (member, colour) in member.iter_mut().zip(&sample) {
                *member = nearest(&means, colour);
            }
            means = means_of(&sample, &member, &means);
        }
        let parts =
            (0..means.len()).filter_map(|part| fit_part(&sample, &member, part)).collect::<Vec<Part>>();
        (!parts.is_empty()).then_some(Mixture { parts })
    }

    /// With one more distribution, of independent axes, that makes up this share of the whole.
    pub(in crate::wound) fn and(mut self, mean: Tint, deviation: Tint, share: f32) -> Mixture {
        let [x, y, z] = deviation.map(|deviation| 1.0 / (deviation * deviation));
        let base = deviation.iter().map(|deviation| deviation.ln()).sum::<f32>() - share.ln();
        for part in &mut self.parts {
            part.base -= (1.0 - share).ln();
        }
        self.parts.push(Part { mean, inverse: [x, 0.0, 0.0, y, 0.0, z], base });
        self
    }

    /// −ln of the likelihood of the most likely part.
    pub(in crate::wound) fn surprise(&self, colour: &Tint) -> f32 {
        let mut least = f32::INFINITY;
        for part in &self.parts {
            let [x, y, z] = [0, 1, 2].map(|axis: usize| colour[axis] - part.mean[axis]);
            let [xx, xy, xz, yy, yz, zz] = part.inverse;
            let squared = xx * x * x + yy * y * y + zz * z * z + 2.0 * (xy * x * y + xz * x * z + yz * y * z);
            least = least.min(part.base + 0.5 * squared);
        }
        least
    }
}

/// Starting points as far from each other as can be: the first is the middle colour.
fn spread_out(sample: &[Tint]) -> Vec<Tint> {
    let share = 1.0 / sample.len() as f32;
    let mut means =
        vec![[0, 1, 2].map(|axis: usize| sample.iter().map(|colour| colour[axis] * share).sum::<f32>())];
    let mut apart: Vec<f32> = sample.iter().map(|colour| squared(colour, &means[0])).collect();
    while means.len() < PARTS {
        // Not the very farthest, which is a glint or a hair: the 95th percentile.
        let mut order: Vec<usize> = (0..sample.len()).collect();
        let place = sample.len() * 19 / 20;
        let at = *order.select_nth_unstable_by(place, |a, b| apart[*a].total_cmp(&apart[*b])).1;
        let next = sample[at];
        means.push(next);
        for (apart, colour) in apart.iter_mut().zip(sample) {
            *apart = apart.min(squared(colour, &next));
        }
    }
    means
}

fn squared(a: &Tint, b: &Tint) -> f32 {
    (0..3).map(|axis| (a[axis] - b[axis]) * (a[axis] - b[axis])).sum()
}

fn nearest(means: &[Tint], colour: &Tint) -> usize {
    let mut best = (0, f32::INFINITY);
    for (at, mean) in means.iter().enumerate() {
        let apart = squared(mean, colour);
        if apart < best.1 {
            best = (at, apart);
        }
    }
    best.0
}

fn means_of(sample: &[Tint], member: &[usize], before: &[Tint]) -> Vec<Tint> {
    let mut sums = vec![([0.0f32; 3], 0u32); before.len()];
    for (colour, member) in sample.iter().zip(member) {
        let (sum, count) = &mut sums[*member];
        *count += 1;
        for axis in 0..3 {
            sum[axis] += colour[axis];
        }
    }
    let mean = |((sum, count), before): (&([f32; 3], u32), &Tint)| {
        if *count == 0 { *before } else { sum.map(|value| value / *count as f32) }
    };
    sums.iter().zip(before).map(mean).collect()
}

fn fit_part(sample: &[Tint], member: &[usize], part: usize) -> Option<Part> {
    let mine: Vec<&Tint> = sample.iter().zip(member).filter(|(_, m)| **m == part).map(|(c, _)| c).collect();
    if mine.len() < 5 {
        return None;
    }
    let count = mine.len() as f32;
    let mean = [0, 1, 2].map(|axis: usize| mine.iter().map(|colour| colour[axis]).sum::<f32>() / count);
    let covariance = |a: usize, b: usize| {
        let sum: f32 = mine.iter().map(|colour| (colour[a] - mean[a]) * (colour[b] - mean[b])).sum();
        sum / count + if a == b { LEAST_VARIANCE } else { 0.0 }
    };
    let (xx, xy, xz) = (covariance(0, 0), covariance(0, 1), covariance(0, 2));
    let (yy, yz, zz) = (covariance(1, 1), covariance(1, 2), covariance(2, 2));
    let determinant = xx * (yy * zz - yz * yz) - xy * (xy * zz - yz * xz) + xz * (xy * yz - yy * xz);
    // Covariances with something added along the diagonal are positive definite; rounding alone could spoil it.
    if determinant.is_nan() || determinant <= 0.0 {
        return None;
    }
    let inverse = [
        yy * zz - yz * yz,
        xz * yz - xy * zz,
        xy * yz - xz * yy,
        xx * zz - xz * xz,
        xy * xz - xx * yz,
        xx * yy - xy * xy,
    ]
    .map(|cofactor| cofactor / determinant);
    let weight = count / sample.len() as f32;
    Some(Part { mean, inverse, base: 0.5 * determinant.ln() - weight.ln() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cloud(middle: Tint, spread: f32) -> impl Iterator<Item = Tint> {
        (0..400).map(move |step| {
            let turn = step as f32 * 2.399_963;
            let far = spread * ((step as f32 + 0.5) / 400.0).sqrt();
            [
                middle[0] + far * turn.cos(),
                middle[1] + far * turn.sin(),
                middle[2] + far * (turn * 0.37).cos(),
            ]
        })
    }

    #[test]
    fn a_colour_of_the_region_surprises_less_than_one_of_another() {
        let colours: Vec<Tint> = cloud([0.0, 0.0, 0.0], 5.0).chain(cloud([60.0, 10.0, -20.0], 8.0)).collect();
        let mixture = Mixture::fit(&colours).unwrap();
        for own in [[0.0, 0.0, 0.0], [60.0, 10.0, -20.0]] {
            assert!(mixture.surprise(&own) + 10.0 < mixture.surprise(&[30.0, 5.0, -10.0]));
        }
    }

    #[test]
    fn an_expected_colour_surprises_less_once_it_is_added() {
        let colours: Vec<Tint> = cloud([0.0, 0.0, 0.0], 5.0).collect();
        let (redder, before) = ([20.0, 0.0, -8.0], Mixture::fit(&colours).unwrap());
        let unsure = before.surprise(&redder);
        let after = before.and(redder, [10.0, 6.0, 10.0], 0.05);
        assert!(after.surprise(&redder) + 5.0 < unsure);
    }

    #[test]
    fn a_flat_colour_fits_and_too_few_colours_do_not() {
        assert!(Mixture::fit(&[[1.0, 2.0, 3.0]; 9]).is_none());
        let flat = Mixture::fit(&[[1.0, 2.0, 3.0]; 100]).unwrap();
        assert!(flat.surprise(&[1.0, 2.0, 3.0]).is_finite());
        assert!(flat.surprise(&[9.0, 2.0, 3.0]) > flat.surprise(&[1.0, 2.0, 3.0]));
    }
}
