//! How long reviews take: minutes on average for each class, and how much they vary around that.

use rand::Rng;
use rand::RngExt;

use crate::triage::Urgency;
use crate::triage::forecast::by_class::ByClass;

/// Standard deviation over mean of review lengths drawn log-normally: most take less than the mean, a few much longer.
/// Our choice, no source; the exponential distribution of the formula has 1.
pub const LOG_NORMAL_CV: f64 = 0.75;

/// How review lengths vary.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spread {
    /// Log-normal with [`LOG_NORMAL_CV`].
    LogNormal,
    /// As the formula takes it to be.
    Exponential,
}

/// Review lengths by class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReviewLengths {
    pub mean_minutes: ByClass<f64>,
    pub spread: Spread,
}

impl ReviewLengths {
    /// The mean of every class, when they are all the same; otherwise `None`.
    pub fn same_for_all_minutes(&self) -> Option<f64> {
        let first = *self.mean_minutes.of(Urgency::GoNow);
        self.mean_minutes.iter().all(|(_, mean)| *mean == first).then_some(first)
    }

    /// The length of one review in whole milliseconds, at least 1. Takes two draws whatever the spread, so that the
    /// reviews after it stay the same when the spread is changed.
    pub(super) fn draw_ms(&self, urgency: Urgency, chance: &mut impl Rng) -> i64 {
        let (one, other) = (above_0_to_1(chance), above_0_to_1(chance));
        let mean = *self.mean_minutes.of(urgency);
        let minutes = match self.spread {
            Spread::Exponential => -mean * one.ln(),
            Spread::LogNormal => {
                let variance = (1.0 + LOG_NORMAL_CV * LOG_NORMAL_CV).ln();
                // Box and Muller's way from two even draws to a normal one.
                let normal = (-2.0 * one.ln()).sqrt() * (std::f64::consts::TAU * other).cos();
                mean * (variance.sqrt() * normal - variance / 2.0).exp()
            }
        };
        ((minutes * 60_000.0).round() as i64).max(1)
    }
}

/// An even draw above 0 and up to 1, of which a logarithm can be taken.
pub(super) fn above_0_to_1(chance: &mut impl Rng) -> f64 {
    1.0 - chance.random::<f64>()
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand::rngs::Xoshiro256PlusPlus;

    use super::*;

    #[test]
    fn drawn_lengths_have_the_mean_and_the_spread_they_promise() {
        for (spread, cv) in [(Spread::Exponential, 1.0), (Spread::LogNormal, LOG_NORMAL_CV)] {
            let lengths = ReviewLengths { mean_minutes: ByClass::of_each(|_| 5.0), spread };
            let mut chance = Xoshiro256PlusPlus::seed_from_u64(5);
            let drawn: Vec<f64> =
                (0..60_000).map(|_| lengths.draw_ms(Urgency::Today, &mut chance) as f64 / 60_000.0).collect();
            let count = drawn.len() as f64;
            let mean = drawn.iter().sum::<f64>() / count;
            let variance = drawn.iter().map(|one| (one - mean) * (one - mean)).sum::<f64>() / count;
            // Four standard errors of the mean.
            assert!((mean - 5.0).abs() < 4.0 * 5.0 * cv / count.sqrt(), "{spread:?} {mean}");
            assert!((variance.sqrt() / mean - cv).abs() < 0.03, "{spread:?} {}", variance.sqrt() / mean);
        }
    }

    #[test]
    fn only_a_mean_shared_by_every_class_is_one_mean() {
        let mut lengths =
            ReviewLengths { mean_minutes: ByClass::of_each(|_| 5.0), spread: Spread::LogNormal };
        assert_eq!(lengths.same_for_all_minutes(), Some(5.0));
        *lengths.mean_minutes.of_mut(Urgency::OnTrack) = 4.0;
        assert_eq!(lengths.same_for_all_minutes(), None);
    }
}
