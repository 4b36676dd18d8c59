//! Every limit of the built-in protocol, from both sides.
//!
//! A row: the rule; what is different from a quiet day-5 wound; the fact, its last value at which the rule is
//! silent, and its first at which it fires.

use std::collections::BTreeSet;

use serde_json::json;

use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::Tripped;
use crate::triage::Urgency;
use crate::triage::assess;
use crate::triage::protocol_checks::assessed;
use crate::triage::protocol_checks::fires;
use crate::triage::protocol_checks::quiet_but;

type Row = (&'static str, &'static str, &'static str, f64, f64);

const FEVER: &[Row] = &[
    ("fever-38", "{}", "temp_c", 37.9, 38.0),
    ("fever-38.5", "{}", "temp_c", 38.5, 38.6),
    ("fever-39", "{}", "temp_c", 38.9, 39.0),
    ("fever-early-well", r#"{"hours_since_op":30}"#, "temp_c", 37.9, 38.0),
    ("fever-early-well", r#"{"temp_c":38.0}"#, "hours_since_op", 48.1, 48.0),
    ("fever-early-well", r#"{"temp_c":38.0,"hours_since_op":30}"#, "red_cm", 0.6, 0.5),
    ("older-37.8", r#"{"age":65}"#, "temp_c", 37.8, 37.9),
    ("older-37.8", r#"{"temp_c":37.9}"#, "age", 64.0, 65.0),
    ("fever-plus-spread", r#"{"red_cm":2.6,"red_trend":"bigger"}"#, "temp_c", 37.9, 38.0),
    ("fever-plus-spread", r#"{"temp_c":38.0,"red_trend":"bigger"}"#, "red_cm", 2.5, 2.6),
    ("fever-plus-spread-plus-sick", r#"{"red_cm":3,"red_trend":"bigger","hr":111}"#, "temp_c", 37.9, 38.0),
    ("fever-plus-spread-plus-sick", r#"{"red_cm":3,"red_trend":"bigger","temp_c":38.0}"#, "hr", 110.0, 111.0),
    ("fever-plus-spread-plus-sick", r#"{"red_cm":3,"red_trend":"bigger","temp_c":38.0}"#, "rr", 21.0, 22.0),
    ("early-storm", r#"{"hours_since_op":30,"drain_grey":true}"#, "temp_c", 38.4, 38.5),
    ("early-storm", r#"{"chills":true,"drain_grey":true}"#, "hours_since_op", 48.1, 48.0),
    ("early-storm", r#"{"hours_since_op":30,"chills":true,"pain_trend":"worse"}"#, "pain", 7.0, 8.0),
    ("early-storm", r#"{"hours_since_op":30,"chills":true,"red_trend":"bigger"}"#, "red_cm", 2.5, 2.6),
];

#[test]
fn fever_counts_from_38() {
    both_sides(FEVER);
}

const COLD: &[Row] = &[
    ("temp-low", "{}", "temp_c", 36.0, 35.9),
    ("temp-35", r#"{"temp_repeat_low":true}"#, "temp_c", 35.1, 35.0),
];

#[test]
fn cold_counts_below_36_and_alarms_at_35_measured_twice() {
    both_sides(COLD);
    assert!(!fires(r#"{"temp_c":34.0,"temp_repeat_low":false}"#, "temp-35"));
}

const PULSE_AND_BREATH: &[Row] = &[
    ("pulse-131", "{}", "hr", 130.0, 131.0),
    ("pulse-111", "{}", "hr", 110.0, 111.0),
    ("pulse-91", r#"{"temp_c":38.0}"#, "hr", 90.0, 91.0),
    ("pulse-91", r#"{"hr":91}"#, "temp_c", 37.9, 38.0),
    ("pulse-91", r#"{"hr":91,"warm":true}"#, "red_cm", 0.5, 0.6),
    ("breath-hard", "{}", "rr", 24.0, 25.0),
    ("breath-21", r#"{"temp_c":38.0}"#, "rr", 20.0, 21.0),
    ("breath-21", r#"{"rr":21}"#, "temp_c", 37.9, 38.0),
    ("breath-21", r#"{"rr":21,"warm":true}"#, "red_cm", 0.5, 0.6),
    ("pressure-low", "{}", "sbp", 91.0, 90.0),
    ("qsofa-two", r#"{"sbp":100}"#, "rr", 21.0, 22.0),
    ("qsofa-two", r#"{"rr":22}"#, "sbp", 101.0, 100.0),
    ("sick-two", r#"{"temp_c":38.1,"warm":true}"#, "hr", 90.0, 91.0),
    ("sick-two", r#"{"hr":91,"warm":true}"#, "temp_c", 38.0, 38.1),
    ("sick-two", r#"{"hr":91,"warm":true}"#, "temp_c", 36.0, 35.9),
    ("sick-two", r#"{"hr":91,"temp_c":38.1}"#, "red_cm", 0.5, 0.6),
];

#[test]
fn pulse_breath_and_pressure_count_from_their_limits() {
    both_sides(PULSE_AND_BREATH);
}

const AGE: &[Row] = &[
    ("older-off-feet", r#"{"cannot_get_up":true}"#, "age", 64.0, 65.0),
    ("too-young", "{}", "age", 16.0, 15.0),
];

#[test]
fn limits_are_for_adults_and_older_people_are_watched_from_65() {
    both_sides(AGE);
}

const REDNESS: &[Row] = &[
    ("rim-wide-still", "{}", "red_cm", 0.5, 0.6),
    ("rim-wide-still", "{}", "red_cm", 2.6, 2.5),
    ("rim-growing", r#"{"red_trend":"bigger"}"#, "red_cm", 0.5, 0.6),
    ("rim-growing", r#"{"red_trend":"bigger"}"#, "red_cm", 2.6, 2.5),
    ("red-inch", r#"{"red_trend":"bigger"}"#, "red_cm", 2.5, 2.6),
    ("red-inch", r#"{"red_trend":"bigger","diabetes":"t2"}"#, "red_cm", 2.0, 2.1),
    ("red-inch", r#"{"red_trend":"bigger","immuno":"moderate"}"#, "red_cm", 2.0, 2.1),
    ("red-inch", r#"{"red_trend":"bigger","site":"foot"}"#, "red_cm", 2.0, 2.1),
    ("red-inch-still", "{}", "red_cm", 2.5, 2.6),
    ("red-two-inch", "{}", "red_cm", 5.0, 5.1),
    ("two-local", r#"{"warm":true}"#, "red_cm", 0.5, 0.6),
    ("face-local", r#"{"site":"face","red_trend":"bigger"}"#, "red_cm", 0.5, 0.6),
    ("hand-local", r#"{"site":"hand","red_trend":"bigger"}"#, "red_cm", 0.5, 0.6),
    ("breast-not-clearing", r#"{"site":"breast","day":14}"#, "red_cm", 0.5, 0.6),
    ("breast-not-clearing", r#"{"site":"breast","red_cm":0.6}"#, "day", 13.0, 14.0),
    ("racing-edge", "{}", "red_grew_cm_6h", 2.4, 2.5),
    ("racing-edge-sick", r#"{"chills":true}"#, "red_grew_cm_6h", 2.4, 2.5),
    ("racing-edge-sick", r#"{"red_grew_cm_6h":2.5}"#, "temp_c", 37.9, 38.0),
    ("racing-edge-sick", r#"{"red_grew_cm_6h":2.5}"#, "hr", 110.0, 111.0),
    ("racing-edge-sick", r#"{"red_grew_cm_6h":2.5}"#, "pain", 7.0, 8.0),
];

#[test]
fn redness_counts_beyond_half_a_centimetre_an_inch_and_two() {
    both_sides(REDNESS);
}

const PAIN_AND_FLUID: &[Row] = &[
    ("pain-7-rest", r#"{"pain_at_rest":true}"#, "pain", 6.0, 7.0),
    ("pain-up-late", r#"{"pain_trend":"worse"}"#, "day", 2.0, 3.0),
    ("pus-back", r#"{"pus":"thick"}"#, "day", 2.0, 3.0),
    ("foul", r#"{"odor":true}"#, "day", 2.0, 3.0),
    ("dishwater-sick", r#"{"drain_grey":true}"#, "temp_c", 37.9, 38.0),
    ("dishwater-sick", r#"{"drain_grey":true}"#, "pain", 7.0, 8.0),
    ("stool-in-wound-sick", r#"{"stool_in_wound":true}"#, "temp_c", 37.9, 38.0),
    ("no-pee", "{}", "cant_pee_hours", 7.9, 8.0),
    ("pelvis-deep", r#"{"site":"perianal","deep_pressure":true}"#, "temp_c", 37.9, 38.0),
];

#[test]
fn pain_and_pus_matter_from_day_3_and_pain_at_rest_from_7() {
    both_sides(PAIN_AND_FLUID);
}

const SUGAR: &[Row] = &[
    ("sugar-54", "{}", "glucose", 54.0, 53.0),
    ("sugar-54-helpless", r#"{"mind_changed":true}"#, "glucose", 54.0, 53.0),
    ("sugar-70", "{}", "glucose", 70.0, 69.0),
    ("sugar-70", "{}", "glucose", 53.0, 54.0),
    ("sugar-sick", r#"{"diabetes":"t2","sglt2":false,"sugar_sick":true}"#, "glucose", 199.0, 200.0),
    ("sugar-250", "{}", "glucose", 250.0, 251.0),
    ("sugar-250-infect", r#"{"temp_c":38.0}"#, "glucose", 250.0, 251.0),
    ("sugar-250-infect", r#"{"glucose":251}"#, "temp_c", 37.9, 38.0),
    ("sugar-250-infect", r#"{"glucose":251,"warm":true}"#, "red_cm", 0.5, 0.6),
    ("sugar-300", "{}", "glucose", 300.0, 301.0),
    ("sugar-hi", "{}", "glucose", 399.0, 400.0),
    ("sugar-600", "{}", "glucose", 599.0, 600.0),
    ("sugar-150-often", "{}", "glucose_median7", 150.0, 151.0),
    ("ketone-1.5", "{}", "ketones", 1.4, 1.5),
    ("ketone-3", "{}", "ketones", 2.9, 3.0),
];

#[test]
fn sugar_is_low_below_70_and_54_and_high_above_250_300_and_from_400_and_600() {
    both_sides(SUGAR);
}

const FRAGILE: &[Row] = &[
    ("chemo-fever", r#"{"immuno":"chemo"}"#, "temp_c", 37.9, 38.0),
    ("no-spleen-fever", r#"{"immuno":"asplenia"}"#, "temp_c", 37.9, 38.0),
    ("weak-immune-fever", r#"{"immuno":"moderate"}"#, "temp_c", 37.9, 38.0),
    ("pregnant-fever", r#"{"pregnant":true}"#, "temp_c", 37.9, 38.0),
    ("valve-fever", r#"{"valve":true}"#, "temp_c", 37.9, 38.0),
];

#[test]
fn a_fragile_patient_with_38_is_never_left_until_the_day() {
    both_sides(FRAGILE);
    for (rule, changes, fact, _, feverish) in FRAGILE {
        let assessment = assess(Protocol::built_in(), &with(changes, fact, *feverish));
        assert!(assessment.urgency >= Urgency::RingNow, "{rule}");
    }
}

const DRUGS: &[Row] = &[
    ("pills-not-staying-sick", r#"{"abx":true,"vomit_abx":true}"#, "temp_c", 37.9, 38.0),
    ("pills-not-working", r#"{"pain_trend":"worse"}"#, "abx_hours", 47.9, 48.0),
    ("pills-not-working", r#"{"abx_hours":48}"#, "temp_c", 37.9, 38.0),
    ("pills-missed", r#"{"abx":true}"#, "abx_missed", 1.0, 2.0),
    ("runs", r#"{"abx_recent":true}"#, "loose_stools_24h", 2.0, 3.0),
    ("runs-sick", r#"{"abx_recent":true,"stool_blood":true}"#, "loose_stools_24h", 2.0, 3.0),
    ("runs-sick", r#"{"abx_recent":true,"loose_stools_24h":3}"#, "temp_c", 37.9, 38.0),
];

#[test]
fn two_days_of_antibiotics_without_effect_count_and_so_do_three_loose_stools() {
    both_sides(DRUGS);
}

const STRIP: &[Row] = &[
    ("strip-late-48", r#"{"packing":"in"}"#, "hours_since_pack", 54.0, 54.1),
    ("strip-late-48", r#"{"packing":"in"}"#, "hours_since_pack", 72.1, 72.0),
    ("strip-late-72", r#"{"packing":"in"}"#, "hours_since_pack", 72.0, 72.1),
    ("strip-late-sick", r#"{"packing":"in","odor":true}"#, "hours_since_pack", 48.0, 48.1),
    ("strip-late-sick", r#"{"packing":"in","hours_since_pack":49}"#, "temp_c", 37.9, 38.0),
    ("strip-early", r#"{"packing":"fell_out"}"#, "hours_since_pack", 24.0, 23.9),
];

#[test]
fn a_strip_is_late_after_54_hours_and_must_be_coached_out_after_72() {
    both_sides(STRIP);
}

const COURSE: &[Row] = &[
    ("wound-growing", r#"{"both_scaled":true,"day":7}"#, "area_change_pct", 20.0, 21.0),
    ("wound-growing", r#"{"both_scaled":true,"area_change_pct":21}"#, "day", 6.0, 7.0),
    ("stalled-28", r#"{"both_scaled":true}"#, "par_28", 40.0, 39.0),
    ("open-90", r#"{"still_open":true}"#, "day", 90.0, 91.0),
    ("perianal-still-draining", r#"{"site":"perianal","draining":true}"#, "day", 55.0, 56.0),
    ("washes-missed", "{}", "washes_per_day", 1.0, 0.0),
    ("washes-missed", r#"{"washes_per_day":0}"#, "day", 1.0, 2.0),
    ("silent", "{}", "hours_silent", 36.0, 37.0),
    ("silent", r#"{"diabetes":"t2"}"#, "hours_silent", 18.0, 19.0),
    ("silent", r#"{"day":8}"#, "hours_silent", 96.0, 97.0),
];

#[test]
fn a_wound_that_grows_stalls_or_goes_silent_is_looked_at() {
    both_sides(COURSE);
}

fn with(changes: &str, fact: &str, value: f64) -> Facts {
    let mut changes: serde_json::Map<String, serde_json::Value> = serde_json::from_str(changes).unwrap();
    changes.insert(fact.to_owned(), json!(value));
    quiet_but(&serde_json::to_string(&changes).unwrap())
}

fn both_sides(rows: &[Row]) {
    for (rule, changes, fact, silent, firing) in rows {
        let fired = |value: f64| {
            let assessment = assess(Protocol::built_in(), &with(changes, fact, value));
            assessment.reasons.iter().any(|reason| reason.rule_id == *rule)
        };
        assert!(!fired(*silent), "{rule}: {changes} and {fact} {silent} must not fire");
        assert!(fired(*firing), "{rule}: {changes} and {fact} {firing} must fire");
    }
}

#[test]
fn no_limit_of_the_protocol_is_left_untested() {
    let tables =
        [FEVER, COLD, PULSE_AND_BREATH, AGE, REDNESS, PAIN_AND_FLUID, SUGAR, FRAGILE, DRUGS, STRIP, COURSE];
    let rows: Vec<&Row> = tables.into_iter().flatten().collect();
    let limits = Protocol::built_in().limits();
    let mut untested = BTreeSet::new();
    for rule in Protocol::built_in().rules() {
        for (fact, limit) in rule.when.compared() {
            let straddles = |row: &&Row| {
                let (id, changes, given, silent, firing) = **row;
                if id != rule.id {
                    return false;
                }
                let at =
                    |value| with(changes, given, value).completed(limits).number(fact).unwrap_or((0.0, 0.0));
                let (one, other) = (at(silent), at(firing));
                let (low, high) = (one.0.min(other.0), one.1.max(other.1));
                one != other && low <= limit && limit <= high
            };
            if !rows.iter().any(straddles) {
                untested.insert(format!("{}: {} {limit}", rule.id, fact.name()));
            }
        }
    }
    assert_eq!(untested, BTreeSet::new());
}

#[test]
fn a_milder_rule_holds_until_the_graver_case_is_known() {
    // Between the two limits, and nobody knows which of them counts.
    let unknown_host = r#"{"red_cm":2.2,"red_trend":"bigger","diabetes":null}"#;
    assert!(fires(unknown_host, "rim-growing") && !fires(unknown_host, "red-inch"));
    assert!(fires(r#"{"red_cm":2.2,"diabetes":null}"#, "rim-wide-still"));
    let unknown_trend = r#"{"red_cm":3,"red_trend":null}"#;
    assert!(fires(unknown_trend, "red-inch-still") && !fires(unknown_trend, "red-inch"));
    assert!(fires(r#"{"red_cm":3,"pain_trend":null}"#, "red-inch-still"));
    assert!(fires(r#"{"red_cm":1,"warm":true,"red_trend":null}"#, "two-local"));
    assert!(!fires(r#"{"red_cm":1,"warm":true,"red_trend":"smaller"}"#, "two-local"));
    assert!(fires(r#"{"pain":7,"pain_at_rest":true}"#, "pain-7-rest"));
    assert!(!fires(r#"{"pain":7,"pain_at_rest":true,"pain_just_packed":true}"#, "pain-7-rest"));
}

/// Rules without a limit of their own, each with what makes it fire.
const SIGNS: &[(&str, &str)] = &[
    ("bleed-spurting", r#"{"bleeding":"spurting"}"#),
    ("bleed-spurting", r#"{"bleed_half_can":true}"#),
    ("bleed-wont-stop", r#"{"bleeding":"wont_stop_10min"}"#),
    ("bleed-soaks-pad", r#"{"bleeding":"soaks_pad_hour"}"#),
    ("bleed-on-thinner", r#"{"bleeding":"soaks_pad_hour","anticoag":true,"bleed_repeat":true}"#),
    ("bleed-on-thinner", r#"{"bleeding":"after_wash_stopped","anticoag":true,"bleed_repeat":true}"#),
    ("bleed-pulsing-lump", r#"{"groin_pulse_lump":true}"#),
    ("mind-changed", r#"{"mind_changed":true}"#),
    ("mind-changed", r#"{"fainted":true}"#),
    ("chest-or-clot", r#"{"chest_pain":true}"#),
    ("chest-or-clot", r#"{"leg_clot_and_breathless":true}"#),
    ("chills-shaking", r#"{"chills":true}"#),
    ("fever-masked", r#"{"feels_feverish":true,"temp_c":null}"#),
    ("fever-masked", r#"{"feels_feverish":true,"fever_pill_6h":true}"#),
    ("says-very-ill", r#"{"says_very_ill":true}"#),
    ("says-worried", r#"{"worried":true}"#),
    ("self-harm", r#"{"self_harm":true}"#),
    ("pill-too-sleepy", r#"{"pain_pill":true,"hard_to_wake":true}"#),
    ("dead-skin", r#"{"dead_skin":true}"#),
    ("crackle", r#"{"crackle":true}"#),
    ("pain-beyond", r#"{"pain_beyond":true}"#),
    ("numb-skin", r#"{"numb_skin":true,"pain_trend":"worse"}"#),
    ("dishwater", r#"{"drain_grey":true}"#),
    ("genital-spread", r#"{"scrotum_swell":true}"#),
    ("streaks", r#"{"streaks":true}"#),
    ("lump-back", r#"{"lump_back":true}"#),
    ("shut-over", r#"{"closed_over":true,"draining_pinhole":true}"#),
    ("shut-over", r#"{"closed_over":true,"lump_back":true}"#),
    ("shut-over", r#"{"closed_over":true,"pain_trend":"worse"}"#),
    ("hot-hard", r#"{"warm":true,"swell_trend":"bigger"}"#),
    ("hot-hard", r#"{"hard":true,"swell_trend":"bigger"}"#),
    ("face-eye", r#"{"site":"face","eye_signs":true}"#),
    ("face-eye", r#"{"site":"scalp","eye_signs":true}"#),
    ("throat", r#"{"site":"neck","throat_signs":true}"#),
    ("throat", r#"{"site":"scalp","throat_signs":true}"#),
    ("finger-bent", r#"{"site":"hand","finger_bent":true}"#),
    ("joint-stiff", r#"{"joint_stiff":true}"#),
    ("numb-saddle", r#"{"numb_saddle":true}"#),
    ("stool-in-wound", r#"{"stool_in_wound":true}"#),
    ("allergy-airway", r#"{"face_throat_swelling":true}"#),
    ("allergy-airway", r#"{"rash":"hives","vomiting":true}"#),
    ("allergy-airway", r#"{"rash":"hives","breath_hard":true}"#),
    ("allergy-airway", r#"{"rash":"hives","fainted":true}"#),
    ("skin-peeling", r#"{"rash":"blister"}"#),
    ("hives-only", r#"{"rash":"hives"}"#),
    ("rash-mild", r#"{"rash":"mild"}"#),
    ("pills-not-staying", r#"{"abx":true,"vomit_abx":true}"#),
    ("strip-torn", r#"{"packing":"partly"}"#),
    ("strip-torn", r#"{"packing":"unsure"}"#),
    ("strip-stuck", r#"{"packing_stuck":true}"#),
    ("tape-itch", r#"{"itchy":true,"square_edged":true}"#),
    ("over-granulation", r#"{"over_granulation":true}"#),
    ("photo-unusable", r#"{"photo_ok":false}"#),
];

#[test]
fn every_rule_fires_on_its_sign() {
    for (rule, changes) in SIGNS {
        assert!(fires(changes, rule), "{rule}: {changes}");
    }
    let limits =
        [FEVER, COLD, PULSE_AND_BREATH, AGE, REDNESS, PAIN_AND_FLUID, SUGAR, FRAGILE, DRUGS, STRIP, COURSE];
    let fired: BTreeSet<&str> = limits.into_iter().flatten().map(|row| row.0).collect();
    let fired: BTreeSet<&str> = SIGNS.iter().map(|row| row.0).chain(fired).collect();
    let all: BTreeSet<&str> = Protocol::built_in().rules().iter().map(|rule| rule.id.as_str()).collect();
    assert_eq!(fired, all);
}

#[test]
fn a_quiet_wound_is_on_track_only_while_every_gate_is_known_to_hold() {
    let missing = |changes: &str| -> Vec<String> {
        let assessment = assessed(changes);
        let expected = if assessment.gates.is_empty() { Urgency::OnTrack } else { Urgency::Tomorrow };
        assert_eq!(assessment.urgency, expected, "{changes}");
        assessment.gates.into_iter().map(|gate| gate.id).collect()
    };
    assert_eq!(missing("{}"), Vec::<String>::new());
    assert_eq!(missing(r#"{"temp_c":36.0}"#), Vec::<String>::new());
    assert_eq!(missing(r#"{"temp_c":37.9}"#), Vec::<String>::new());
    assert_eq!(missing(r#"{"feels_feverish":true}"#), vec!["temp"]);
    assert_eq!(missing(r#"{"feels_feverish":null}"#), vec!["temp"]);
    assert_eq!(missing(r#"{"temp_c":null}"#), Vec::<String>::new());
    assert_eq!(missing(r#"{"temp_c":null,"chills":null}"#), vec!["temp"]);
    assert_eq!(missing(r#"{"red_cm":null}"#), vec!["redness", "rim"]);
    assert_eq!(missing(r#"{"red_trend":null}"#), vec!["redness", "rim"]);
    assert_eq!(missing(r#"{"red_hard_to_see":true}"#), Vec::<String>::new());
    assert_eq!(missing(r#"{"red_hard_to_see":true,"warm":null}"#), vec!["redness"]);
    assert_eq!(missing(r#"{"red_hard_to_see":true,"hard":null}"#), vec!["redness"]);
    assert_eq!(missing(r#"{"red_hard_to_see":true,"swell_trend":null}"#), vec!["redness"]);
    assert_eq!(missing(r#"{"pain_trend":null}"#), vec!["pain", "rim"]);
    assert_eq!(missing(r#"{"bleeding":null}"#), vec!["bleeding"]);
    assert_eq!(missing(r#"{"danger_screen_answered":null}"#), vec!["danger"]);
    assert_eq!(missing(r#"{"danger_screen_answered":false}"#), vec!["danger"]);
    assert_eq!(missing(r#"{"packing":null}"#), vec!["strip"]);
    assert_eq!(missing(r#"{"red_trend":"bigger"}"#), vec!["rim"]);
}

#[test]
fn a_fragile_patient_is_lifted_where_another_waits() {
    let lifted = |changes: &str| {
        let assessment = assessed(changes);
        let raises: Vec<String> = assessment.raises.iter().map(|raise| raise.id.clone()).collect();
        (assessment.urgency, raises)
    };
    let none: Vec<String> = Vec::new();
    assert_eq!(lifted(r#"{"red_cm":1}"#), (Urgency::Tomorrow, none.clone()));
    for host in ["mrsa", "poor_circulation"] {
        let changes = format!(r#"{{"red_cm":1,"{host}":true}}"#);
        assert_eq!(lifted(&changes), (Urgency::Today, vec!["raise-host".to_owned()]), "{host}");
    }
    assert_eq!(lifted(r#"{"lump_back":true}"#), (Urgency::Today, none.clone()));
    let weak = lifted(r#"{"lump_back":true,"immuno":"moderate"}"#);
    assert_eq!(weak, (Urgency::RingNow, vec!["raise-weak-immune".to_owned()]));
    let diabetic = lifted(r#"{"lump_back":true,"diabetes":"t1"}"#);
    assert_eq!(diabetic, (Urgency::Today, none));
}

#[test]
fn mrsa_before_is_read_first_within_its_class() {
    let (plain, mrsa) = (assessed(r#"{"lump_back":true}"#), assessed(r#"{"lump_back":true,"mrsa":true}"#));
    assert_eq!(mrsa.urgency, plain.urgency);
    assert!(mrsa.score > plain.score);
    assert_eq!(mrsa.raises[0].id, "mrsa-first");
}

#[test]
fn a_reason_shows_the_numbers_it_rests_on_and_the_weightiest_comes_first() {
    let assessment = assessed(r#"{"temp_c":38.6,"red_cm":3.04,"red_trend":"bigger","diabetes":"t2"}"#);
    let order: Vec<&str> = assessment.reasons.iter().map(|reason| reason.rule_id.as_str()).collect();
    assert_eq!(order, vec!["fever-38.5", "fever-plus-spread", "fever-38", "red-inch"]);
    let shown = |rule: &str| -> Vec<String> {
        let reason = assessment.reasons.iter().find(|reason| reason.rule_id == rule).unwrap();
        let line = |tripped: &Tripped| match &tripped.limit {
            Some(limit) => format!("{}: {} ({limit})", tripped.fact, tripped.value),
            None => format!("{}: {}", tripped.fact, tripped.value),
        };
        reason.tripped.iter().map(line).collect()
    };
    assert_eq!(shown("fever-38.5"), vec!["temp_c: 38.6 °C (> 38.5 °C)"]);
    assert_eq!(
        shown("red-inch"),
        vec![
            "site: thigh",
            "diabetes: t2",
            "immuno: none",
            "red_cm: 3.0 cm (> 2.0 cm)",
            "red_trend: bigger",
            "red_limit: 2.0 cm",
        ]
    );
}

#[test]
fn what_is_unknown_and_could_matter_is_named_with_how_far_it_could_reach() {
    let assessment = assessed(r#"{"temp_c":38.0,"red_cm":3,"red_trend":"bigger","immuno":null}"#);
    let unknown = assessment.unknowns.iter().find(|unknown| unknown.fact == "immuno").unwrap();
    assert_eq!(unknown.could_reach, Urgency::GoNow);
    assert!(unknown.rules.contains(&"chemo-fever".to_owned()));
    assert!(assessment.unknowns.iter().all(|unknown| unknown.fact != "temp_c"));
    let reach: Vec<Urgency> = assessment.unknowns.iter().map(|unknown| unknown.could_reach).collect();
    assert!(reach.is_sorted_by(|earlier, later| earlier >= later));
}
