//! The protocol's facts in a surgeon's words, with the values that tripped a rule.

use crate::triage::Tripped;

/// The values that point to trouble, such as "temperature 38.6 °C · shaking chills": what a surgeon reads first.
pub fn values(tripped: &[Tripped]) -> String {
    tripped.iter().filter(|fact| points_to_trouble(fact)).map(value).collect::<Vec<_>>().join(" · ")
}

/// The same with each value beside the limit it was held against: "temperature 38.6 °C (> 38.5 °C)".
pub fn values_beside_limits(tripped: &[Tripped]) -> String {
    tripped.iter().filter(|fact| points_to_trouble(fact)).map(beside_limit).collect::<Vec<_>>().join(" · ")
}

/// Everything a reason rests on, the quiet facts too.
pub fn all_values(tripped: &[Tripped]) -> String {
    tripped.iter().map(beside_limit).collect::<Vec<_>>().join(" · ")
}

fn beside_limit(tripped: &Tripped) -> String {
    match &tripped.limit {
        Some(limit) => format!("{} ({limit})", value(tripped)),
        None => value(tripped),
    }
}

/// Facts that only set a limit, or that sum up others shown beside them, and quiet answers, are for the fine print.
fn points_to_trouble(tripped: &Tripped) -> bool {
    match tripped.fact.as_str() {
        "photo_ok" | "danger_screen_answered" => true,
        "site" | "red_limit" | "silent_limit" | "day" | "hot_hard_growing" | "host_weak" | "host_immuno"
        | "has_diabetes" => false,
        // Where a value comes from stands behind it in brackets.
        _ => {
            let value = tripped.value.split(" (").next().unwrap_or_default();
            !matches!(value, "no" | "none" | "smaller" | "better")
        }
    }
}

fn value(tripped: &Tripped) -> String {
    let value = match (tripped.fact.as_str(), tripped.value.as_str()) {
        ("day", days) => return format!("day {}", days.trim_end_matches(" days")),
        ("photo_ok", "no") => return "photo not usable".to_owned(),
        ("danger_screen_answered", "no") => return "danger questions not answered".to_owned(),
        ("diabetes", "t1") => "type 1",
        ("diabetes", "t2") => "type 2",
        ("immuno", "moderate") => return "weak immunity".to_owned(),
        ("immuno", "chemo") => return "chemotherapy or low white cells".to_owned(),
        ("immuno", "asplenia") => return "no working spleen".to_owned(),
        ("bleeding", "soaks_pad_hour") => return "soaked a pad within an hour".to_owned(),
        ("bleeding", "wont_stop_10min") => return "bleeds on after 10 min of pressure".to_owned(),
        ("bleeding", "after_wash_stopped") => return "bled after washing, stopped".to_owned(),
        ("packing", "partly") => return "strip only partly out".to_owned(),
        ("packing", "unsure") => return "not sure the strip is out".to_owned(),
        ("packing", "in") => return "strip still in".to_owned(),
        (_, value) => value,
    };
    let (name, value) = (fact(&tripped.fact), value.replace('_', " "));
    match value.split_once(" (") {
        _ if value == "yes" => name,
        // An item of the danger screen can stand for several signs: that it was ticked is said, not by which code.
        Some(("yes", told_by)) if told_by.starts_with("ticked: danger.") => format!("{name} (ticked)"),
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
        Tripped { fact: fact.to_owned(), value: value.to_owned(), limit: None }
    }

    #[test]
    fn a_value_stands_behind_its_name_and_a_yes_is_the_name_alone() {
        let read = values(&[
            tripped("temp_c", "38.6 °C"),
            tripped("chills", "yes"),
            tripped("bleeding", "soaks_pad_hour"),
        ]);
        assert_eq!(read, "temperature 38.6 °C · shaking chills · soaked a pad within an hour");
    }

    #[test]
    fn a_number_stands_beside_the_limit_it_was_held_against() {
        let hot = Tripped { limit: Some("> 38.5 °C".to_owned()), ..tripped("temp_c", "38.6 °C") };
        assert_eq!(values_beside_limits(&[hot]), "temperature 38.6 °C (> 38.5 °C)");
    }

    #[test]
    fn quiet_facts_are_left_to_the_fine_print() {
        let rests_on =
            [tripped("diabetes", "none"), tripped("red_limit", "2.5 cm"), tripped("red_cm", "3.3 cm")];
        assert_eq!(values(&rests_on), "redness reach 3.3 cm");
        assert_eq!(all_values(&rests_on), "diabetes none · redness limit here 2.5 cm · redness reach 3.3 cm");
        assert_eq!(values(&[tripped("photo_ok", "no")]), "photo not usable");
        assert_eq!(values(&[tripped("chest_pain", "yes (ticked: danger.breath)")]), "chest pain (ticked)");
        assert_eq!(values(&[tripped("fainted", "yes (wrote: me desmayé)")]), "fainted (wrote: me desmayé)");
    }

    #[test]
    fn no_fact_is_shown_with_an_underscore() {
        for known in DICTIONARY {
            assert!(!fact(known.name).contains('_'), "{}", known.name);
        }
    }
}
