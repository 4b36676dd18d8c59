//! Whether two sets of times come from the same one: the rank-sum test of Mann and Whitney (Ann. Math. Statist. 18, 1947),
//! with the normal approximation, which is good from some twenty values each on.

use std::time::Duration;

/// How often two sets from the same times would differ at least this much, 0–1; two-sided. Equal times share their ranks.
pub fn rank_test(one: &[Duration], other: &[Duration]) -> f64 {
    let mut all: Vec<(Duration, bool)> = one.iter().map(|time| (*time, true)).collect();
    all.extend(other.iter().map(|time| (*time, false)));
    all.sort_unstable();
    let (n, m, total) = (one.len() as f64, other.len() as f64, all.len() as f64);
    let (mut rank_sum, mut ties, mut at) = (0.0, 0.0, 0);
    while at < all.len() {
        let alike = all[at..].iter().take_while(|(time, _)| *time == all[at].0).count();
        let shared = at as f64 + (alike as f64 + 1.0) / 2.0;
        rank_sum += shared * all[at..at + alike].iter().filter(|(_, is_one)| *is_one).count() as f64;
        ties += (alike as f64).powi(3) - alike as f64;
        at += alike;
    }
    let u = rank_sum - n * (n + 1.0) / 2.0;
    let variance = n * m / 12.0 * (total + 1.0 - ties / (total * (total - 1.0)));
    if variance <= 0.0 {
        return 1.0;
    }
    // Half a rank nearer, since ranks are whole and the normal curve is not.
    let z = (((u - n * m / 2.0).abs() - 0.5).max(0.0)) / variance.sqrt();
    2.0 * upper_tail(z)
}

/// The part of the normal curve above `z` ≥ 0 (Abramowitz and Stegun, 26.2.17; off by less than 7.5e-8).
fn upper_tail(z: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * z);
    let series = t
        * (0.319_381_530
            + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    (-z * z / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt() * series
}

/// Two worked examples, checked at every start: a test that finds nothing would keep every promise.
pub fn checked() {
    let ms = |times: &[u64]| times.iter().map(|time| Duration::from_millis(*time)).collect::<Vec<_>>();
    assert!((upper_tail(1.959_964) - 0.025).abs() < 1e-6, "the normal curve");
    // Nineteen below nineteen others, no ties: U = 0, z = (180.5 − 0.5) / sqrt(19·19·39/12).
    let low = ms(&(1..20).collect::<Vec<_>>());
    let high = ms(&(101..120).collect::<Vec<_>>());
    let expected = 2.0 * upper_tail(180.0 / (361.0_f64 * 39.0 / 12.0).sqrt());
    assert!((rank_test(&low, &high) - expected).abs() < 1e-12, "all of one below all of the other");
    assert!(rank_test(&low, &low) > 0.98, "a set against itself");
}
