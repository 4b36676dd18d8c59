//! The protocol's facts in a surgeon's words, with the values that tripped a rule.

use crate::triage::Tripped;

/// The values a reason rests on, such as "temperature 38.6 °C, shaking chills". Facts that only repeat the sentence's
/// own words are said by name.
pub fn values(tripped: &[Tripped]) -> String {
    tripped.iter().map(value).collect::<Vec<_>>().join(" · ")
}

fn value(tripped: &Tripped) -> String {
    let (name, value) = (fact(&tripped.fact), tripped.value.replace('_', " "));
    match value.split_once(" (") {
        _ if value == "yes" => name,
        Some(("yes", told_by)) => format!("{name} ({told_by}"),
        _ => format!("{name} {value}"),
    }
}

/// A fact's name in words; one that has no words here is shown by its own name, readably.
pub fn fact(name: &str) -> String {
    let words = match name {
        "day" => "day",
        "hours_since_op" => "time since the operation",
        "hours_since_pack" => "time since packing",
        "hours_silent" => "time without word",
        "abx_hours" => "time on the antibiotic",
        "still_open" => "wound still open",
        "sglt2" => "SGLT2 drug",
        "immuno" => "weak immunity",
        "anticoag" => "blood thinner",
        "valve" => "heart valve",
        "poor_circulation" => "poor circulation",
        "mrsa" => "MRSA before",
        "pain_pill" => "opioid pain pill",
        "abx" => "on an antibiotic",
        "abx_recent" => "antibiotic lately",
        "red_hard_to_see" => "redness hard to see",
        "danger_screen_answered" => "danger questions answered",
        "bleed_half_can" => "lost about half a can of blood",
        "bleed_repeat" => "bled twice or more",
        "groin_pulse_lump" => "beating lump",
        "mind_changed" => "confused or not themselves",
        "hard_to_wake" => "hard to wake",
        "breath_hard" => "hard to breathe",
        "chest_pain" => "chest pain",
        "leg_clot_and_breathless" => "leg clot signs and breathless",
        "face_throat_swelling" => "face or throat swelling",
        "dead_skin" => "black, purple or grey skin",
        "crackle" => "skin crackles",
        "pain_beyond" => "pain out of proportion",
        "numb_skin" => "numb skin",
        "numb_saddle" => "numb between the legs",
        "scrotum_swell" => "private parts swelling fast",
        "eye_signs" => "eye signs",
        "throat_signs" => "neck or throat signs",
        "self_harm" => "words of self-harm",
        "worried" => "feels worse",
        "says_very_ill" => "feels very ill",
        "cannot_get_up" => "cannot get up",
        "new_weakness" => "new weakness",
        "temp_c" => "temperature",
        "temp_repeat_low" => "low temperature on a second reading",
        "feels_feverish" => "feels feverish",
        "fever_pill_6h" => "fever or pain pill within 6 h",
        "chills" => "shaking chills",
        "hr" => "pulse",
        "rr" => "breaths",
        "sbp" => "systolic pressure",
        "red_cm" => "redness reach",
        "red_trend" => "redness",
        "red_grew_cm_6h" => "redness moved within 6 h",
        "warm" => "skin hot",
        "hard" => "skin hard or swollen",
        "swell_trend" => "heat or swelling",
        "streaks" => "red lines running away",
        "pain" => "pain",
        "pain_trend" => "pain since yesterday:",
        "pain_at_rest" => "pain at rest",
        "pain_just_packed" => "just washed or unpacked",
        "pus" => "pus",
        "odor" => "bad smell",
        "drain_grey" => "thin grey fluid",
        "draining" => "draining",
        "draining_pinhole" => "drains from a pinhole",
        "lump_back" => "lump filling again",
        "closed_over" => "skin closed on top",
        "over_granulation" => "tissue above skin level",
        "finger_bent" => "finger stuck bent",
        "joint_stiff" => "joint stiff",
        "cant_pee_hours" => "cannot pass urine for",
        "deep_pressure" => "deep pressure",
        "cant_pass_stool" => "cannot pass stool",
        "stool_in_wound" => "stool in the wound",
        "glucose" => "sugar",
        "glucose_hi" => "meter shows HI",
        "glucose_median7" => "week's middle sugar",
        "urine_ketones" => "urine ketones",
        "sugar_sick" => "sick with high sugar",
        "vomit_abx" => "vomits the antibiotic",
        "abx_missed" => "antibiotic doses missed",
        "loose_stools_24h" => "loose stools in 24 h",
        "stool_blood" => "blood in the stool",
        "packing" => "strip",
        "packing_stuck" => "strip stuck",
        "washes_per_day" => "washes yesterday",
        "area_change_pct" => "area change since the last photo",
        "par_28" => "smaller by day 28",
        "both_scaled" => "both photos to scale",
        "photo_ok" => "photo usable",
        "bed" => "wound bed",
        "has_diabetes" => "diabetes",
        "host_immuno" => "weak immunity",
        "host_weak" => "fragile patient",
        "red_limit" => "redness limit here",
        "hot_hard_growing" => "hot or hard and growing",
        "local_signs" => "local signs",
        "sick_count" => "whole-body signs",
        "qsofa" => "qSOFA",
        "silent_limit" => "silence limit",
        _ => return name.replace('_', " "),
    };
    words.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::DICTIONARY;

    fn tripped(fact: &str, value: &str) -> Tripped {
        Tripped { fact: fact.to_owned(), value: value.to_owned() }
    }

    #[test]
    fn a_value_stands_behind_its_name_and_a_yes_is_the_name_alone() {
        let read = values(&[
            tripped("temp_c", "38.6 °C"),
            tripped("chills", "yes"),
            tripped("bleeding", "soaks_pad_hour"),
        ]);
        assert_eq!(read, "temperature 38.6 °C · shaking chills · bleeding soaks pad hour");
    }

    #[test]
    fn no_fact_is_shown_with_an_underscore() {
        for known in DICTIONARY {
            assert!(!fact(known.name).contains('_'), "{}", known.name);
        }
    }
}
