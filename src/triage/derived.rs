//! Facts worked out from other facts. Where a part is unknown, so is the whole, or it is bounded.

use crate::triage::dictionary::FactId;
use crate::triage::facts::Known;
use crate::triage::facts::Value;
use crate::triage::limits::DerivedLimits;
use crate::triage::truth::Truth;

const DIABETES: FactId = FactId::of("diabetes");
const IMMUNO: FactId = FactId::of("immuno");
const SITE: FactId = FactId::of("site");
const RED_CM: FactId = FactId::of("red_cm");
const WARM: FactId = FactId::of("warm");
const HARD: FactId = FactId::of("hard");
const SWELL_TREND: FactId = FactId::of("swell_trend");
const PAIN_TREND: FactId = FactId::of("pain_trend");
const PUS: FactId = FactId::of("pus");
const TEMP_C: FactId = FactId::of("temp_c");
const HR: FactId = FactId::of("hr");
const RR: FactId = FactId::of("rr");
const SBP: FactId = FactId::of("sbp");
const MIND_CHANGED: FactId = FactId::of("mind_changed");
const DAY: FactId = FactId::of("day");
const PACKING: FactId = FactId::of("packing");
const HOURS_SINCE_PACK: FactId = FactId::of("hours_since_pack");
const HOURS_SILENT: FactId = FactId::of("hours_silent");
const HAS_DIABETES: FactId = FactId::of("has_diabetes");
const HOST_IMMUNO: FactId = FactId::of("host_immuno");
const HOST_WEAK: FactId = FactId::of("host_weak");
const RED_LIMIT: FactId = FactId::of("red_limit");
const HOT_HARD_GROWING: FactId = FactId::of("hot_hard_growing");
const LOCAL_SIGNS: FactId = FactId::of("local_signs");
const SICK_COUNT: FactId = FactId::of("sick_count");
const QSOFA: FactId = FactId::of("qsofa");
const SILENT_LIMIT: FactId = FactId::of("silent_limit");

/// The given facts a derived fact hangs on; empty for a given fact.
pub(super) fn parts(fact: FactId) -> &'static [FactId] {
    match fact {
        HAS_DIABETES => &[DIABETES],
        HOST_IMMUNO => &[IMMUNO],
        HOST_WEAK => &[DIABETES, IMMUNO],
        RED_LIMIT => &[DIABETES, IMMUNO, SITE],
        HOT_HARD_GROWING => &[WARM, HARD, SWELL_TREND],
        LOCAL_SIGNS => &[RED_CM, WARM, HARD, SWELL_TREND, PAIN_TREND, PUS],
        SICK_COUNT => &[TEMP_C, HR, RR],
        QSOFA => &[RR, SBP, MIND_CHANGED],
        SILENT_LIMIT => &[DAY, DIABETES, IMMUNO, PACKING, HOURS_SINCE_PACK],
        _ => &[],
    }
}

/// The numbers a given fact is held against when others are worked out from it.
pub(super) fn held_against(fact: FactId, limits: &DerivedLimits) -> Vec<f64> {
    match fact {
        RED_CM => vec![limits.rim_cm, limits.red_inch_weak_cm, limits.red_inch_cm],
        TEMP_C => vec![limits.cold_c, limits.sick_hot_c],
        HR => vec![limits.pulse_raised],
        RR => vec![limits.breaths_fast, limits.breaths_sepsis],
        SBP => vec![limits.pressure_sepsis],
        DAY => vec![limits.first_days],
        HOURS_SINCE_PACK => vec![limits.strip_due_h],
        HOURS_SILENT => {
            let (first, later) = (limits.silent_first_h, limits.silent_later_h);
            vec![first / 2.0, first, later / 2.0, later]
        }
        _ => Vec::new(),
    }
}

/// Adds every derived fact that can be worked out or bounded.
pub(super) fn work_out(known: &mut Known<'_>, limits: &DerivedLimits) {
    let has_diabetes = Truth::of(known.word(DIABETES).map(|word| word != "none"));
    let host_immuno = Truth::of(known.word(IMMUNO).map(|word| word != "none"));
    let host_weak = has_diabetes.or(host_immuno);
    put(known, HAS_DIABETES, has_diabetes);
    put(known, HOST_IMMUNO, host_immuno);
    put(known, HOST_WEAK, host_weak);

    let foot = is(known, SITE, "foot");
    between(known, RED_LIMIT, choose(host_weak.or(foot), limits.red_inch_weak_cm, limits.red_inch_cm));

    let growing = is(known, SWELL_TREND, "bigger");
    let warm = Truth::of(known.flag(WARM));
    let hard = Truth::of(known.flag(HARD));
    put(known, HOT_HARD_GROWING, warm.or(hard).and(growing));
    // IWGDF/IDSA 2023, the five local signs.
    let local = [
        exceeds(known, RED_CM, limits.rim_cm),
        warm,
        hard.or(growing),
        is(known, PAIN_TREND, "worse"),
        is(known, PUS, "thick"),
    ];
    between(known, LOCAL_SIGNS, count(&local));

    let temp_off = exceeds(known, TEMP_C, limits.sick_hot_c).or(falls_below(known, TEMP_C, limits.cold_c));
    let sick = [temp_off, exceeds(known, HR, limits.pulse_raised), exceeds(known, RR, limits.breaths_fast)];
    between(known, SICK_COUNT, count(&sick));
    // Sepsis-3 (Singer 2016): fast breathing, low pressure, changed mind.
    let qsofa = [
        falls_below(known, RR, limits.breaths_sepsis).negated(),
        exceeds(known, SBP, limits.pressure_sepsis).negated(),
        Truth::of(known.flag(MIND_CHANGED)),
    ];
    between(known, QSOFA, count(&qsofa));

    let first_days = exceeds(known, DAY, limits.first_days).negated();
    let strip_late = is(known, PACKING, "in").and(exceeds(known, HOURS_SINCE_PACK, limits.strip_due_h));
    let (low, high) = choose(first_days, limits.silent_first_h, limits.silent_later_h);
    // Own rule, no source: the fragile, and those with a strip that should be out, are missed twice as soon.
    between(
        known,
        SILENT_LIMIT,
        match host_weak.or(strip_late) {
            Truth::True => (low / 2.0, high / 2.0),
            Truth::False => (low, high),
            Truth::Unknown => (low / 2.0, high),
        },
    );
}

fn put(known: &mut Known<'_>, fact: FactId, truth: Truth) {
    if let Some(flag) = truth.known() {
        known.values[fact.place()] = Some(Value::Flag(flag));
    }
}

fn between(known: &mut Known<'_>, fact: FactId, (low, high): (f64, f64)) {
    known.values[fact.place()] = Some(Value::Number { low, high });
}

/// One of two numbers, or what spans both while it is unknown which.
fn choose(truth: Truth, yes: f64, no: f64) -> (f64, f64) {
    match truth {
        Truth::True => (yes, yes),
        Truth::False => (no, no),
        Truth::Unknown => (yes.min(no), yes.max(no)),
    }
}

/// How many are true: at least those known to be, at most those not known to be false.
fn count(signs: &[Truth]) -> (f64, f64) {
    let at_least = signs.iter().filter(|sign| **sign == Truth::True).count();
    let at_most = signs.iter().filter(|sign| **sign != Truth::False).count();
    (at_least as f64, at_most as f64)
}

fn is(known: &Known<'_>, fact: FactId, word: &str) -> Truth {
    Truth::of(known.word(fact).map(|is| is == word))
}

/// Strictly above `limit`.
fn exceeds(known: &Known<'_>, fact: FactId, limit: f64) -> Truth {
    let Some((low, high)) = known.number(fact) else { return Truth::Unknown };
    if low > limit {
        Truth::True
    } else if high <= limit {
        Truth::False
    } else {
        Truth::Unknown
    }
}

/// Strictly below `limit`.
fn falls_below(known: &Known<'_>, fact: FactId, limit: f64) -> Truth {
    let Some((low, high)) = known.number(fact) else { return Truth::Unknown };
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
    use crate::triage::Protocol;
    use crate::triage::dictionary::FactId;
    use crate::triage::facts::Facts;

    fn derived(given: &str, name: &str) -> Option<String> {
        let given = serde_json::from_str(given).unwrap();
        let facts = Facts::from_json(&given).unwrap();
        facts.completed(Protocol::built_in().limits()).text(FactId::named(name).unwrap())
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
