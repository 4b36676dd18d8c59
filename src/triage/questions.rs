//! The checklist's questions: ids, form fields, answer codes, and when each is asked. Their words live with the pages.

use crate::plan::Diabetes;
use crate::plan::Operation;
use crate::plan::RiskFactors;
use crate::plan::Site;
use crate::triage::answers::Amount;
use crate::triage::answers::Answers;
use crate::triage::answers::Bleeding;
use crate::triage::answers::Chills;
use crate::triage::answers::DangerItem;
use crate::triage::answers::Drainage;
use crate::triage::answers::Feels;
use crate::triage::answers::PainTrend;
use crate::triage::answers::Temperature;
use crate::triage::answers::Trend;
use crate::triage::answers::WarmHard;
use crate::triage::answers::YesNo;
use crate::triage::from_check::BELIEVABLE_TENTHS_C;
use crate::triage::from_check::RETAKE_AT_OR_BELOW_TENTHS_C;
use crate::triage::said::Said;
use crate::triage::special_answers::MeterReading;

/// What decides which questions a patient meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Context {
    pub site: Site,
    pub diabetes: Option<Diabetes>,
    pub sglt2: Option<bool>,
    pub blood_thinner: Option<bool>,
    pub antibiotic: Option<bool>,
    pub strip: StripKnown,
}

/// What is already known about the strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StripKnown {
    NeverPlaced,
    /// Placed, and not yet confirmed to be all out.
    Unresolved,
    ConfirmedOut,
}

impl Context {
    pub fn of(
        operation: &Operation,
        risk: &RiskFactors,
        strip_out_confirmed: Option<jiff::Timestamp>,
    ) -> Context {
        Context {
            site: operation.site,
            diabetes: risk.diabetes,
            sglt2: risk.sglt2,
            blood_thinner: risk.blood_thinner,
            antibiotic: risk.antibiotic.as_ref().map(|_| true).or(risk.takes_antibiotic),
            strip: match (&operation.packing, strip_out_confirmed) {
                (None, _) => StripKnown::NeverPlaced,
                (Some(_), None) => StripKnown::Unresolved,
                (Some(_), Some(_)) => StripKnown::ConfirmedOut,
            },
        }
    }

    /// `None`: nobody asked at enrolment.
    pub fn has_diabetes(&self) -> Option<bool> {
        self.diabetes.map(|diabetes| diabetes != Diabetes::None)
    }

    /// The danger items shown for this wound, in order.
    pub fn danger_items(&self) -> Vec<DangerItem> {
        let shown = |item: &DangerItem| match item {
            DangerItem::Low => self.site.is_low(),
            DangerItem::Face => self.site.is_head_or_neck(),
            DangerItem::Bleed
            | DangerItem::Mind
            | DangerItem::Breath
            | DangerItem::Swell
            | DangerItem::Skin
            | DangerItem::Pain => true,
        };
        DangerItem::ALL.iter().copied().filter(shown).collect()
    }
}

/// Where in the checklist a question stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Before anything else.
    Danger,
    /// Everyone.
    Core,
    /// Only where an answer opens it.
    Branch,
    /// Only for some patients.
    Special,
    /// Who can, may.
    Optional,
    Close,
}

/// What an answer looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnswerKind {
    /// One code.
    One(&'static [&'static str]),
    /// Any of the codes, or `none`.
    Many(&'static [&'static str]),
    /// A whole number, both ends allowed.
    Whole {
        lowest: u16,
        highest: u16,
    },
    /// A thermometer reading.
    Temperature,
    /// One code, or a ruler reading in whole millimetres up to 300.
    BandOrRuler(&'static [&'static str]),
    /// How far in centimetres, and in how many hours.
    Pace,
    /// A meter reading, and how many hours ago.
    Sugar,
    /// Blood ketones in mmol/L, or a urine strip by code.
    Ketones(&'static [&'static str]),
    /// A telephone number.
    Phone,
    Words,
}

/// One question.
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// Also the name of its value in [`Answers`] and of its first form field.
    pub id: &'static str,
    pub stage: Stage,
    pub kind: AnswerKind,
    /// The form fields it is read from.
    pub fields: &'static [&'static str],
    when: fn(&Answers, &Context) -> bool,
}

impl Question {
    /// Whether this patient meets the question, after what was answered so far.
    pub fn asked(&self, answers: &Answers, context: &Context) -> bool {
        (self.when)(answers, context)
    }
}

const YES_NO: AnswerKind = AnswerKind::One(&["yes", "no"]);
const TRENDS: AnswerKind = AnswerKind::One(&["smaller", "same", "bigger"]);

const fn ask(
    id: &'static str,
    stage: Stage,
    kind: AnswerKind,
    fields: &'static [&'static str],
    when: fn(&Answers, &Context) -> bool,
) -> Question {
    Question { id, stage, kind, fields, when }
}

const fn everyone(_: &Answers, _: &Context) -> bool {
    true
}

/// Near the bottom and groin a hidden abscess can press on bladder and bowel.
fn low(_: &Answers, context: &Context) -> bool {
    context.site.is_low()
}

fn on_antibiotic(_: &Answers, context: &Context) -> bool {
    context.antibiotic == Some(true)
}

/// Every question, in the order they are asked. Every one but `who`, `words`, `phone` and `voicemail` also takes
/// `not_sure`.
pub const QUESTIONS: &[Question] = &[
    ask("who", Stage::Danger, AnswerKind::One(&["patient", "helper"]), &["who"], everyone),
    ask(
        "danger",
        Stage::Danger,
        AnswerKind::Many(&["bleed", "mind", "breath", "swell", "skin", "pain", "low", "face"]),
        &["danger"],
        everyone,
    ),
    ask(
        "better",
        Stage::Core,
        AnswerKind::One(&["better", "same", "worse", "very_ill"]),
        &["better"],
        everyone,
    ),
    // `temp` also takes `none`: no thermometer.
    ask("temp", Stage::Core, AnswerKind::Temperature, &["temp", "temp_unit"], everyone),
    ask(
        "temp_again",
        Stage::Branch,
        AnswerKind::Temperature,
        &["temp_again", "temp_again_unit"],
        |answers, _| temp_tenths_c(answers).is_some_and(taken_again),
    ),
    ask("feels_feverish", Stage::Branch, YES_NO, &["feels_feverish"], |answers, _| no_thermometer(answers)),
    ask("chills", Stage::Core, AnswerKind::One(&["no", "hot_cold", "shaking"]), &["chills"], everyone),
    ask("fever_pill", Stage::Branch, YES_NO, &["fever_pill"], |answers, _| {
        let feverish = answers.feels_feverish.is(YesNo::Yes)
            || matches!(answers.chills.known(), Some(Chills::HotCold | Chills::Shaking));
        let fever = temp_tenths_c(answers).is_some_and(|tenths_c| tenths_c >= 380);
        no_thermometer(answers) || fever || feverish
    }),
    ask(
        "edge",
        Stage::Core,
        AnswerKind::BandOrRuler(&["none", "thin", "to_1_inch", "to_2_inches", "over_2_inches"]),
        &["edge", "edge_mm"],
        everyone,
    ),
    ask("edge_move", Stage::Core, TRENDS, &["edge_move"], everyone),
    ask("edge_hours", Stage::Branch, AnswerKind::Pace, &["edge_hours", "edge_cm"], |answers, _| {
        answers.edge_move.is(Trend::Bigger)
    }),
    ask("warm_hard", Stage::Core, AnswerKind::Many(&["hot", "hard", "swollen"]), &["warm_hard"], everyone),
    ask("warm_hard_trend", Stage::Branch, TRENDS, &["warm_hard_trend"], |answers, _| {
        answers.warm_hard.known().is_some_and(|found| !found.is_empty())
    }),
    ask("streaks", Stage::Branch, YES_NO, &["streaks"], |answers, _| {
        answers.edge.known().is_some_and(|edge| edge.reach_mm() > 5)
            || answers.edge == Said::NotSure
            || hot_or_hard(answers)
    }),
    ask("pain", Stage::Core, AnswerKind::Whole { lowest: 0, highest: 10 }, &["pain"], everyone),
    ask("pain_trend", Stage::Core, AnswerKind::One(&["better", "same", "worse"]), &["pain_trend"], everyone),
    ask("pain_just_packed", Stage::Branch, YES_NO, &["pain_just_packed"], |answers, _| {
        answers.pain.known().is_some_and(|pain| *pain >= 7)
    }),
    ask(
        "drain",
        Stage::Core,
        AnswerKind::One(&["none", "clear", "thin_yellow", "thick", "gray", "stool"]),
        &["drain"],
        everyone,
    ),
    ask(
        "drain_amount",
        Stage::Branch,
        AnswerKind::One(&["less", "same", "more"]),
        &["drain_amount"],
        |answers, _| answers.drain.known().is_some_and(|drainage| *drainage != Drainage::None),
    ),
    ask("smell", Stage::Core, YES_NO, &["smell"], everyone),
    ask(
        "bleed",
        Stage::Core,
        AnswerKind::One(&["none", "spots", "after_wash_stopped", "soaks_pad_hour"]),
        &["bleed"],
        everyone,
    ),
    ask("bleed_repeat", Stage::Branch, YES_NO, &["bleed_repeat"], |answers, context| {
        let bled = [Bleeding::AfterWashStopped, Bleeding::SoaksPadHour];
        answers.bleed.known().is_some_and(|bleeding| bled.contains(bleeding))
            && context.blood_thinner != Some(false)
    }),
    ask(
        "strip",
        Stage::Core,
        AnswerKind::One(&["never_had", "all_out", "fell_out", "part_out", "unsure", "still_in", "stuck"]),
        &["strip"],
        |_, context| context.strip == StripKnown::Unresolved,
    ),
    ask("wash", Stage::Core, AnswerKind::Whole { lowest: 0, highest: 10 }, &["wash"], everyone),
    ask("gauze_changed", Stage::Core, YES_NO, &["gauze_changed"], everyone),
    ask("lump_back", Stage::Branch, YES_NO, &["lump_back"], |answers, _| filling(answers)),
    ask("closed_over", Stage::Branch, YES_NO, &["closed_over"], |answers, _| filling(answers)),
    ask(
        "sugar",
        Stage::Special,
        AnswerKind::Sugar,
        &["sugar", "sugar_unit", "sugar_unit_checked", "sugar_hours"],
        |_, context| context.has_diabetes() == Some(true),
    ),
    ask(
        "sugar_sick",
        Stage::Special,
        AnswerKind::Many(&["vomiting", "belly_pain", "fast_breathing", "fruity_breath", "drowsy", "thirsty"]),
        &["sugar_sick"],
        sugar_danger,
    ),
    ask(
        "ketones",
        Stage::Special,
        AnswerKind::Ketones(&["none", "trace", "small", "moderate", "large"]),
        &["ketones", "ketones_urine"],
        sugar_danger,
    ),
    ask(
        "pills_missed",
        Stage::Special,
        AnswerKind::Whole { lowest: 0, highest: 20 },
        &["pills_missed"],
        on_antibiotic,
    ),
    ask(
        "pills_vomited",
        Stage::Special,
        AnswerKind::Whole { lowest: 0, highest: 20 },
        &["pills_vomited"],
        on_antibiotic,
    ),
    ask(
        "rash",
        Stage::Special,
        AnswerKind::One(&["none", "mild", "hives", "blister"]),
        &["rash"],
        on_antibiotic,
    ),
    ask(
        "loose_stools",
        Stage::Special,
        AnswerKind::Whole { lowest: 0, highest: 30 },
        &["loose_stools"],
        on_antibiotic,
    ),
    ask("stool_blood", Stage::Special, YES_NO, &["stool_blood"], |answers, context| {
        on_antibiotic(answers, context)
            && (answers.loose_stools == Said::NotSure
                || answers.loose_stools.known().is_some_and(|stools| *stools > 0))
    }),
    ask("pee", Stage::Special, AnswerKind::Whole { lowest: 0, highest: 48 }, &["pee"], low),
    ask(
        "pee_signs",
        Stage::Special,
        AnswerKind::Many(&["urge", "pressure", "no_stool"]),
        &["pee_signs"],
        low,
    ),
    ask("finger", Stage::Special, YES_NO, &["finger"], |_, context| context.site == Site::Hand),
    ask("pulse", Stage::Optional, AnswerKind::Whole { lowest: 30, highest: 220 }, &["pulse"], everyone),
    ask("breaths", Stage::Optional, AnswerKind::Whole { lowest: 5, highest: 60 }, &["breaths"], everyone),
    ask("pressure", Stage::Optional, AnswerKind::Whole { lowest: 50, highest: 260 }, &["pressure"], everyone),
    ask("words", Stage::Close, AnswerKind::Words, &["words"], everyone),
    ask("phone", Stage::Close, AnswerKind::Phone, &["phone"], everyone),
    ask("voicemail", Stage::Close, YES_NO, &["voicemail"], everyone),
];

/// The question this one is a part of: pain now and pain since yesterday are one screen question to whoever fills the
/// form in, as is what comes out with its amount and smell. A question that is no part of another names itself.
pub fn heading_of(id: &'static str) -> &'static str {
    match id {
        "temp_again" => "temp",
        "warm_hard_trend" => "warm_hard",
        "pain_trend" => "pain",
        "drain_amount" | "smell" => "drain",
        "bleed_repeat" => "bleed",
        "gauze_changed" => "wash",
        "closed_over" => "lump_back",
        "pills_vomited" => "pills_missed",
        "loose_stools" | "stool_blood" => "rash",
        "pee_signs" => "pee",
        "breaths" | "pressure" => "pulse",
        "voicemail" => "phone",
        other => other,
    }
}

/// Questions nobody has to answer: leaving one out is no gap in the check.
pub fn is_optional(id: &str) -> bool {
    matches!(
        id,
        "who" | "ketones" | "temp_again" | "pulse" | "breaths" | "pressure" | "words" | "phone" | "voicemail"
    )
}

/// The headings this patient is asked under, in order, optional ones left out.
pub fn screen_questions(answers: &Answers, context: &Context) -> Vec<&'static str> {
    let mut headings = Vec::new();
    let asked = QUESTIONS.iter().filter(|question| question.asked(answers, context));
    for heading in asked.filter(|question| !is_optional(question.id)).map(|question| heading_of(question.id))
    {
        if !headings.contains(&heading) {
            headings.push(heading);
        }
    }
    headings
}

/// The question called `id`.
pub fn question(id: &str) -> Option<&'static Question> {
    QUESTIONS.iter().find(|question| question.id == id)
}

fn temp_tenths_c(answers: &Answers) -> Option<u16> {
    match answers.temp.known()? {
        Temperature::NoThermometer => None,
        Temperature::Taken(taken) => Some(taken.tenths_c),
    }
}

/// A reading this low, or this hard to believe, is taken again.
pub(super) fn taken_again(tenths_c: u16) -> bool {
    tenths_c <= RETAKE_AT_OR_BELOW_TENTHS_C || !BELIEVABLE_TENTHS_C.contains(&tenths_c)
}

/// No reading to go by: none to be had, or not sure.
fn no_thermometer(answers: &Answers) -> bool {
    answers.temp.is(Temperature::NoThermometer) || answers.temp == Said::NotSure
}

fn hot_or_hard(answers: &Answers) -> bool {
    answers
        .warm_hard
        .known()
        .is_some_and(|found| found.contains(&WarmHard::Hot) || found.contains(&WarmHard::Hard))
}

fn filling(answers: &Answers) -> bool {
    hot_or_hard(answers) || answers.pain_trend.is(PainTrend::Worse) || answers.drain_amount.is(Amount::More)
}

/// Over 250 mg/dL (ACP 2013 page: ketone testing over 250), HI, or a patient whose ketones rise at ordinary sugar
/// and who feels worse.
fn sugar_danger(answers: &Answers, context: &Context) -> bool {
    let high = answers.sugar.known().is_some_and(|sugar| match sugar.reading {
        MeterReading::High => true,
        MeterReading::Measured { mg_dl, .. } => mg_dl > 250,
        MeterReading::Low | MeterReading::Unclear { .. } => false,
    });
    let worse = matches!(answers.better.known(), Some(Feels::Worse | Feels::VeryIll));
    let at_any_sugar = context.diabetes == Some(Diabetes::T1) || context.sglt2 == Some(true);
    high || (at_any_sugar && worse)
}
