//! Facts worked out from other facts. Where a part is unknown, so is the whole, or it is bounded.

use crate::triage::facts::Known;
use crate::triage::facts::Value;
use crate::triage::truth::Truth;

/// The given facts a derived fact hangs on; empty for a given fact.
pub(super) fn parts(name: &str) -> &'static [&'static str] {
    match name {
        "has_diabetes" => &["diabetes"],
        "host_immuno" => &["immuno"],
        "host_weak" => &["diabetes", "immuno"],
        "red_limit" => &["diabetes", "immuno", "site"],
        "hot_hard_growing" => &["warm", "hard", "swell_trend"],
        "local_signs" => &["red_cm", "warm", "hard", "swell_trend", "pain_trend", "pus"],
        "sick_count" => &["temp_c", "hr", "rr"],
        "qsofa" => &["rr", "sbp", "mind_changed"],
        "silent_limit" => &["day", "diabetes", "immuno", "packing", "hours_since_pack"],
        _ => &[],
    }
}

/// Adds every derived fact that can be worked out or bounded.
pub(super) fn work_out(known: &mut Known) {
    let has_diabetes = Truth::of(known.word("diabetes").map(|word| word != "none"));
    let host_immuno = Truth::of(known.word("immuno").map(|word| word != "none"));
    let host_weak = has_diabetes.or(host_immuno);
    put(known, "has_diabetes", has_diabetes);
    put(known, "host_immuno", host_immuno);
    put(known, "host_weak", host_weak);

    // IWGDF/IDSA 2023: moderate beyond 2 cm on the diabetic foot; 2.5 cm otherwise is common practice, no source.
    let foot = is(known, "site", "foot");
    between(known, "red_limit", choose(host_weak.or(foot), (2.0, 2.0), (2.5, 2.5)));

    let growing = is(known, "swell_trend", "bigger");
    let warm = Truth::of(known.flag("warm"));
    let hard = Truth::of(known.flag("hard"));
    put(known, "hot_hard_growing", warm.or(hard).and(growing));
    // IWGDF/IDSA 2023, the five local signs.
    let local = [
        exceeds(known, "red_cm", 0.5),
        warm,
        hard.or(growing),
        is(known, "pain_trend", "worse"),
        is(known, "pus", "thick"),
    ];
    between(known, "local_signs", count(&local));

    let temp_off = exceeds(known, "temp_c", 38.0).or(falls_below(known, "temp_c", 36.0));
    let sick = [temp_off, exceeds(known, "hr", 90.0), exceeds(known, "rr", 20.0)];
    between(known, "sick_count", count(&sick));
    // Sepsis-3 (Singer 2016): 22 breaths or more, 100 mmHg or less, changed mind.
    let qsofa = [
        falls_below(known, "rr", 22.0).negated(),
        exceeds(known, "sbp", 100.0).negated(),
        Truth::of(known.flag("mind_changed")),
    ];
    between(known, "qsofa", count(&qsofa));

    // Own rule, no source.
    let week_1 = exceeds(known, "day", 7.0).negated();
    let strip_late = is(known, "packing", "in").and(exceeds(known, "hours_since_pack", 48.0));
    let (low, high) = choose(week_1, (36.0, 36.0), (96.0, 96.0));
    let halved = (low / 2.0, high / 2.0);
    between(known, "silent_limit", choose(host_weak.or(strip_late), halved, (low, high)));
}

fn put(known: &mut Known, name: &'static str, truth: Truth) {
    if let Some(flag) = truth.known() {
        known.values.insert(name, Value::Flag(flag));
    }
}

fn between(known: &mut Known, name: &'static str, (low, high): (f64, f64)) {
    known.values.insert(name, Value::Number { low, high });
}

/// One of two bounds, or what spans both while it is unknown which.
fn choose(truth: Truth, yes: (f64, f64), no: (f64, f64)) -> (f64, f64) {
    match truth {
        Truth::True => yes,
        Truth::False => no,
        Truth::Unknown => (yes.0.min(no.0), yes.1.max(no.1)),
    }
}

/// How many are true: at least those known to be, at most those not known to be false.
fn count(signs: &[Truth]) -> (f64, f64) {
    let at_least = signs.iter().filter(|sign| **sign == Truth::True).count();
    let at_most = signs.iter().filter(|sign| **sign != Truth::False).count();
    (at_least as f64, at_most as f64)
}

fn is(known: &Known, name: &str, word: &str) -> Truth {
    Truth::of(known.word(name).map(|is| is == word))
}

/// Strictly above `limit`.
fn exceeds(known: &Known, name: &str, limit: f64) -> Truth {
    let Some((low, high)) = known.number(name) else { return Truth::Unknown };
    if low > limit {
        Truth::True
    } else if high <= limit {
        Truth::False
    } else {
        Truth::Unknown
    }
}

/// Strictly below `limit`.
fn falls_below(known: &Known, name: &str, limit: f64) -> Truth {
    let Some((low, high)) = known.number(name) else { return Truth::Unknown };
    if high < limit {
        Truth::True
    } else if low >= limit {
        Truth::False
    } else {
        Truth::Unknown
    }
}

#[cfg(test)]
mod tests {
    use crate::triage::facts::Facts;

    fn derived(given: &str, name: &str) -> Option<String> {
        let given = serde_json::from_str(given).unwrap();
        Facts::from_json(&given).unwrap().completed().text(name)
    }

    #[test]
    fn the_redness_limit_is_lower_for_diabetes_weak_immunity_and_the_foot() {
        let limit = |given| derived(given, "red_limit").unwrap();
        assert_eq!(limit(r#"{"diabetes":"none","immuno":"none","site":"thigh"}"#), "2.5 cm");
        assert_eq!(limit(r#"{"diabetes":"t2"}"#), "2.0 cm");
        assert_eq!(limit(r#"{"immuno":"moderate"}"#), "2.0 cm");
        assert_eq!(limit(r#"{"site":"foot"}"#), "2.0 cm");
        assert_eq!(limit(r#"{"diabetes":"none","site":"thigh"}"#), "2.0 to 2.5 cm");
    }

    #[test]
    fn signs_are_counted_between_what_is_known_and_what_is_not_ruled_out() {
        let signs = |given| derived(given, "local_signs").unwrap();
        assert_eq!(signs("{}"), "0 to 5");
        assert_eq!(
            signs(
                r#"{"red_cm":0.5,"warm":false,"hard":false,"swell_trend":"same","pain_trend":"same","pus":"thin"}"#
            ),
            "0"
        );
        assert_eq!(
            signs(
                r#"{"red_cm":0.6,"warm":true,"hard":true,"swell_trend":"bigger","pain_trend":"worse","pus":"thick"}"#
            ),
            "5"
        );
        assert_eq!(signs(r#"{"red_cm":0.6,"warm":true,"pus":"none"}"#), "2 to 4");
    }

    #[test]
    fn whole_body_signs_count_from_their_limits() {
        let sick = |given| derived(given, "sick_count").unwrap();
        assert_eq!(sick(r#"{"temp_c":38.0,"hr":90,"rr":20}"#), "0");
        assert_eq!(sick(r#"{"temp_c":38.1,"hr":91,"rr":21}"#), "3");
        assert_eq!(sick(r#"{"temp_c":36.0,"hr":90,"rr":20}"#), "0");
        assert_eq!(sick(r#"{"temp_c":35.9,"hr":90,"rr":20}"#), "1");
        let qsofa = |given| derived(given, "qsofa").unwrap();
        assert_eq!(qsofa(r#"{"rr":21,"sbp":101,"mind_changed":false}"#), "0");
        assert_eq!(qsofa(r#"{"rr":22,"sbp":100,"mind_changed":true}"#), "3");
    }

    #[test]
    fn silence_is_allowed_longer_after_day_7_and_half_as_long_for_the_fragile() {
        let limit = |given: &str| derived(given, "silent_limit").unwrap();
        let calm = r#"{"day":7,"diabetes":"none","immuno":"none","packing":"out"}"#;
        assert_eq!(limit(calm), "36 h");
        assert_eq!(limit(&calm.replace(":7", ":8")), "96 h");
        assert_eq!(limit(&calm.replace(r#""immuno":"none""#, r#""immuno":"chemo""#)), "18 h");
        let strip = r#"{"day":2,"diabetes":"none","immuno":"none","packing":"in","hours_since_pack":48}"#;
        assert_eq!(limit(strip), "36 h");
        assert_eq!(limit(&strip.replace(":48", ":49")), "18 h");
        assert_eq!(limit("{}"), "18 to 96 h");
    }

    #[test]
    fn heat_or_hardness_spreads_only_when_the_swelling_grows() {
        let spreads = |given| derived(given, "hot_hard_growing");
        assert_eq!(spreads(r#"{"warm":true,"swell_trend":"bigger"}"#).unwrap(), "yes");
        assert_eq!(spreads(r#"{"warm":true,"hard":true,"swell_trend":"same"}"#).unwrap(), "no");
        assert_eq!(spreads(r#"{"warm":true}"#), None);
    }
}
