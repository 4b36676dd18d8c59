//! From a wound check as sent to the facts the protocol asks for.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::plan::Operation;
use crate::plan::RiskFactors;
use crate::plan::day_number;
use crate::triage::answers::Amount;
use crate::triage::answers::Answers;
use crate::triage::answers::Bleeding;
use crate::triage::answers::Chills;
use crate::triage::answers::DangerItem;
use crate::triage::answers::Drainage;
use crate::triage::answers::Feels;
use crate::triage::answers::StripAnswer;
use crate::triage::answers::Temperature;
use crate::triage::answers::Trend;
use crate::triage::answers::WarmHard;
use crate::triage::answers::YesNo;
use crate::triage::facts::Facts;
use crate::triage::facts::Value;
use crate::triage::free_words;
use crate::triage::from_special;
use crate::triage::not_asked::not_asked;
use crate::triage::not_asked::without;
use crate::triage::questions::Context;
use crate::triage::said::Said;
use crate::triage::special_answers::NoneBeside;

/// What the office knows about the wound a check belongs to.
#[derive(Clone, Copy, Debug)]
pub struct Enrolled<'a> {
    pub operation: &'a Operation,
    pub risk: &'a RiskFactors,
    /// Whole years; `None` when not entered.
    pub age_years: Option<u16>,
    /// When all of the strip was confirmed out, if it was; the question is not asked again.
    pub strip_out_confirmed: Option<Timestamp>,
}

impl Facts {
    /// The facts of one wound check, by the answers, the enrolment and the clock. What was not asked or not answered
    /// stays unknown, but that an answer to a question that was not asked can raise. Where two answers contradict each
    /// other the worse one stands. Nothing measured in a photo is in here.
    pub fn from_check(
        answers: &Answers,
        enrolled: &Enrolled<'_>,
        received: Timestamp,
        zone: &TimeZone,
    ) -> Facts {
        let context = Context::of(enrolled.operation, enrolled.risk, enrolled.strip_out_confirmed);
        let unasked = not_asked(answers, &context);
        if unasked.is_empty() {
            return Facts::answered(answers, enrolled, received, zone);
        }
        let mut facts = Facts::answered(&without(answers, &unasked), enrolled, received, zone);
        facts.raise_to(&Facts::answered(answers, enrolled, received, zone));
        facts
    }

    fn answered(answers: &Answers, enrolled: &Enrolled<'_>, received: Timestamp, zone: &TimeZone) -> Facts {
        let mut facts = Facts::default();
        clock(&mut facts, enrolled.operation, received, zone);
        enrolment(&mut facts, enrolled, received);
        temperature(&mut facts, answers);
        feeling(&mut facts, answers);
        redness(&mut facts, answers);
        wound(&mut facts, answers);
        strip(&mut facts, answers, enrolled);
        from_special::sugar(&mut facts, answers);
        from_special::antibiotic(&mut facts, answers);
        from_special::bladder_and_bowel(&mut facts, answers);
        from_special::finger_and_pulse(&mut facts, answers);
        // Last, so that a tick or a word stands above a calmer answer to the same thing.
        danger_screen(&mut facts, answers);
        for (fact, phrase) in free_words::alarms(&answers.words, enrolled.operation.site) {
            facts.put_told_by(fact, Value::Flag(true), &format!("wrote: {phrase}"));
        }
        facts
    }

    pub(super) fn flag(&mut self, name: &'static str, flag: bool) {
        self.put(name, Value::Flag(flag));
    }

    pub(super) fn number(&mut self, name: &'static str, number: f64) {
        self.put(name, Value::Number { low: number, high: number });
    }

    pub(super) fn word(&mut self, name: &'static str, word: &'static str) {
        self.put(name, Value::Word(word));
    }

    pub(super) fn yes_no(&mut self, name: &'static str, said: Said<YesNo>) {
        if let Some(answer) = said.known() {
            self.flag(name, *answer == YesNo::Yes);
        }
    }

    fn enrolled(&mut self, name: &'static str, entered: Option<bool>) {
        if let Some(flag) = entered {
            self.flag(name, flag);
        }
    }
}

fn hours_between(from: Timestamp, to: Timestamp) -> f64 {
    // Clocks on two desks differ by minutes: nothing has happened in the future.
    (to.duration_since(from).as_secs_f64() / 3600.0).max(0.0)
}

fn clock(facts: &mut Facts, operation: &Operation, received: Timestamp, zone: &TimeZone) {
    facts.number("day", day_number(operation.operated, received, zone).max(0) as f64);
    facts.number("hours_since_op", hours_between(operation.operated, received));
    let placed = operation.packing.map_or(operation.operated, |packing| packing.placed);
    facts.number("hours_since_pack", hours_between(placed, received));
    // Whoever has just sent a check is not silent, and has a wound that nobody has recorded as closed.
    facts.number("hours_silent", 0.0);
    facts.flag("still_open", true);
    facts.word("site", operation.site.code());
}

fn enrolment(facts: &mut Facts, enrolled: &Enrolled<'_>, received: Timestamp) {
    let risk = enrolled.risk;
    if let Some(years) = enrolled.age_years {
        facts.number("age", f64::from(years));
    }
    if let Some(diabetes) = risk.diabetes {
        facts.word("diabetes", diabetes.code());
    }
    if let Some(immunity) = risk.immunity {
        facts.word("immuno", immunity.code());
    }
    facts.enrolled("sglt2", risk.sglt2);
    facts.enrolled("anticoag", risk.blood_thinner);
    facts.enrolled("pregnant", risk.pregnant);
    facts.enrolled("valve", risk.heart_valve);
    facts.enrolled("poor_circulation", risk.poor_circulation);
    facts.enrolled("mrsa", risk.mrsa_before);
    facts.enrolled("pain_pill", risk.opioid_pain_pill);
    facts.enrolled("red_hard_to_see", risk.redness_hard_to_see);
    facts.enrolled("abx", risk.takes_antibiotic);
    match (risk.takes_antibiotic, &risk.antibiotic) {
        (Some(false), _) => facts.number("abx_hours", 0.0),
        (_, Some(antibiotic)) => {
            facts.flag("abx", true);
            facts.flag("abx_recent", true);
            if let Some(started) = antibiotic.started {
                facts.number("abx_hours", hours_between(started, received));
            }
        }
        (Some(true), None) => facts.flag("abx_recent", true),
        (None, None) => {}
    }
}

/// The facts each danger item stands for. An item may stand for several: the reason then says that it was ticked,
/// not which of them it is.
fn stands_for(item: DangerItem) -> &'static [&'static str] {
    match item {
        DangerItem::Bleed => &["bleeding"],
        DangerItem::Mind => &["mind_changed"],
        DangerItem::Breath => &["breath_hard", "chest_pain"],
        DangerItem::Swell => &["face_throat_swelling"],
        DangerItem::Skin => &["dead_skin", "crackle"],
        DangerItem::Pain => &["pain_beyond"],
        DangerItem::Low => &["numb_saddle", "scrotum_swell"],
        DangerItem::Face => &["eye_signs", "throat_signs"],
    }
}

fn danger_screen(facts: &mut Facts, answers: &Answers) {
    let Some(ticked) = answers.danger.known() else { return };
    facts.flag("danger_screen_answered", true);
    if ticked.is_empty() {
        for item in DangerItem::ALL.iter().filter(|item| **item != DangerItem::Bleed) {
            for fact in stands_for(*item) {
                facts.flag(fact, false);
            }
        }
        facts.flag("fainted", false);
        facts.flag("hard_to_wake", false);
    }
    // The screen stops at the first tick, so what is not ticked beside it stays unknown.
    for item in ticked {
        let told_by = format!("ticked: danger.{}", item.code());
        for fact in stands_for(*item) {
            let value = match item {
                DangerItem::Bleed => Value::Word("wont_stop_10min"),
                DangerItem::Mind
                | DangerItem::Breath
                | DangerItem::Swell
                | DangerItem::Skin
                | DangerItem::Pain
                | DangerItem::Low
                | DangerItem::Face => Value::Flag(true),
            };
            facts.put_told_by(fact, value, &told_by);
        }
    }
}

fn feeling(facts: &mut Facts, answers: &Answers) {
    if let Some(feels) = answers.better.known() {
        facts.flag("worried", *feels == Feels::Worse);
        facts.flag("says_very_ill", *feels == Feels::VeryIll);
    }
    facts.yes_no("fever_pill_6h", answers.fever_pill);
    if let Some(chills) = answers.chills.known() {
        facts.flag("chills", *chills == Chills::Shaking);
    }
    feverish(facts, answers);
}

/// Hot and cold, or shaking, is feeling feverish. "No" to that is not feeling feverish only where a thermometer was
/// read: without one, feverishness is a question of its own.
fn feverish(facts: &mut Facts, answers: &Answers) {
    facts.yes_no("feels_feverish", answers.feels_feverish);
    let measured = facts.value("temp_c").is_some();
    match answers.chills.known() {
        Some(Chills::HotCold | Chills::Shaking) => facts.flag("feels_feverish", true),
        Some(Chills::No) if measured && answers.feels_feverish.is_blank() => {
            facts.flag("feels_feverish", false);
        }
        Some(Chills::No) | None => {}
    }
}

/// At or below this, a second reading is asked for (RCP NEWS2 2017: 35.0 °C and less).
pub(super) const RETAKE_AT_OR_BELOW_TENTHS_C: u16 = 350;
/// A reading below the one or above the other is hard to believe: taken again, and the second one counts.
pub(super) const BELIEVABLE_TENTHS_C: std::ops::RangeInclusive<u16> = 340..=420;

/// What the protocol's gate calls no fever and no cold: 36.0 to 37.9 °C.
const CALM_TENTHS_C: std::ops::RangeInclusive<u16> = 360..=379;

fn temperature(facts: &mut Facts, answers: &Answers) {
    let Some(Temperature::Taken(first)) = answers.temp.known() else { return };
    let mut tenths_c = first.tenths_c;
    if let Some(second) = answers.temp_again.known() {
        let low = |tenths_c: u16| tenths_c <= RETAKE_AT_OR_BELOW_TENTHS_C;
        facts.flag("temp_repeat_low", low(first.tenths_c) && low(second.tenths_c));
        let from_37 = |tenths_c: u16| tenths_c.abs_diff(370);
        let believable = BELIEVABLE_TENTHS_C.contains(&first.tenths_c);
        if !believable || from_37(second.tenths_c) > from_37(first.tenths_c) {
            tenths_c = second.tenths_c;
        }
    }
    // Whoever also says that they have no thermometer, or are not sure, is not calmed by a reading.
    if answers.none_beside.contains(&NoneBeside::Temp) && CALM_TENTHS_C.contains(&tenths_c) {
        return;
    }
    facts.number("temp_c", f64::from(tenths_c) / 10.0);
}

fn redness(facts: &mut Facts, answers: &Answers) {
    match &answers.edge {
        // "No red" beside red lines or a growing area is no knowledge of the redness.
        Said::Is(edge) if edge.reach_mm() == 0 && red_all_the_same(answers) => {}
        Said::Is(edge) => facts.number("red_cm", cm(edge.reach_mm())),
        Said::NotSure => facts.flag("red_hard_to_see", true),
        Said::Blank => {}
    }
    if let Some(trend) = answers.edge_move.known() {
        facts.word("red_trend", trend.code());
    }
    if let Some(pace) = answers.edge_hours.known() {
        let moved_cm = cm(pace.moved_mm);
        // Over more than six hours, some stretch of six saw at least its share.
        let stretches = pace.over_minutes.div_ceil(6 * 60).max(1);
        facts.put("red_grew_cm_6h", Value::Number { low: moved_cm / f64::from(stretches), high: moved_cm });
    }
    // What moved past the line grew, whatever else was said of it.
    if answers.edge_hours.known().is_some_and(|pace| pace.moved_mm > 0) {
        facts.word("red_trend", Trend::Bigger.code());
    }
    facts.yes_no("streaks", answers.streaks);
    heat(facts, answers);
}

fn red_all_the_same(answers: &Answers) -> bool {
    answers.edge_move.is(Trend::Bigger) || answers.streaks.is(YesNo::Yes)
}

fn heat(facts: &mut Facts, answers: &Answers) {
    let found = answers.warm_hard.known();
    if let Some(found) = found {
        facts.flag("warm", found.contains(&WarmHard::Hot));
        facts.flag("hard", found.contains(&WarmHard::Hard));
    }
    match answers.warm_hard_trend.known() {
        Some(trend) => facts.word("swell_trend", trend.code()),
        // Where nothing is hot, hard or swollen, nothing of it can be growing.
        None if found.is_some_and(|found| found.is_empty()) => {
            facts.word("swell_trend", Trend::Same.code());
        }
        None => {}
    }
}

fn cm(mm: u16) -> f64 {
    f64::from(mm) / 10.0
}

fn wound(facts: &mut Facts, answers: &Answers) {
    if let Some(pain) = answers.pain.known() {
        facts.number("pain", f64::from(*pain));
        // The question asks for pain while resting.
        facts.flag("pain_at_rest", true);
    }
    if let Some(trend) = answers.pain_trend.known() {
        facts.word("pain_trend", trend.code());
    }
    facts.yes_no("pain_just_packed", answers.pain_just_packed);
    drainage(facts, answers);
    facts.yes_no("odor", answers.smell);
    facts.yes_no("bleed_repeat", answers.bleed_repeat);
    match answers.bleed.known() {
        // No bleeding that bled twice is no knowledge of the bleeding.
        Some(Bleeding::None) if answers.bleed_repeat.is(YesNo::Yes) => {}
        Some(bleeding) => facts.word("bleeding", bleeding.code()),
        None => {}
    }
    facts.yes_no("lump_back", answers.lump_back);
    facts.yes_no("closed_over", answers.closed_over);
    if let Some(washes) = answers.wash.known() {
        facts.number("washes_per_day", f64::from(*washes));
    }
}

fn drainage(facts: &mut Facts, answers: &Answers) {
    let Some(drainage) = answers.drain.known() else { return };
    // "Nothing" of which there is more is no knowledge of what comes.
    if *drainage == Drainage::None && answers.drain_amount.is(Amount::More) {
        return;
    }
    let pus = match drainage {
        Drainage::None | Drainage::Clear => Some("none"),
        Drainage::ThinYellow | Drainage::Gray => Some("thin"),
        Drainage::Thick => Some("thick"),
        // Stool hides what else comes.
        Drainage::Stool => None,
    };
    if let Some(pus) = pus {
        facts.word("pus", pus);
    }
    facts.flag("drain_grey", *drainage == Drainage::Gray);
    facts.flag("stool_in_wound", *drainage == Drainage::Stool);
    facts.flag("draining", *drainage != Drainage::None);
    if let Some(closed) = answers.closed_over.known() {
        let pinhole = *closed == YesNo::Yes && *drainage != Drainage::None;
        facts.flag("draining_pinhole", pinhole);
    }
}

fn strip(facts: &mut Facts, answers: &Answers, enrolled: &Enrolled<'_>) {
    let placed = enrolled.operation.packing.is_some();
    let packing = match answers.strip {
        Said::Is(StripAnswer::AllOut) => Some("out"),
        Said::Is(StripAnswer::FellOut) => Some("fell_out"),
        Said::Is(StripAnswer::PartOut) => Some("partly"),
        Said::Is(StripAnswer::StillIn | StripAnswer::Stuck) => Some("in"),
        Said::Is(StripAnswer::Unsure) | Said::NotSure => Some("unsure"),
        // A strip that was placed and that the patient never had must be looked for.
        Said::Is(StripAnswer::NeverHad) if placed => Some("unsure"),
        Said::Is(StripAnswer::NeverHad) => Some("none"),
        Said::Blank if enrolled.strip_out_confirmed.is_some() => Some("out"),
        Said::Blank if !placed => Some("none"),
        Said::Blank => None,
    };
    if let Some(packing) = packing {
        facts.word("packing", packing);
        facts.flag("packing_stuck", answers.strip.is(StripAnswer::Stuck));
    }
}
