//! The symptom checklist as filled in: one value for each question, known or not.
//!
//! Field names are the question ids of [`crate::triage::QUESTIONS`]; the words of the questions live with the pages.

use std::collections::BTreeSet;

use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;
use crate::triage::said::Said;
use crate::triage::special_answers::BestPhone;
use crate::triage::special_answers::Ketones;
use crate::triage::special_answers::NoneBeside;
use crate::triage::special_answers::PeeSign;
use crate::triage::special_answers::Rash;
use crate::triage::special_answers::Sugar;
use crate::triage::special_answers::SugarSick;

coded! {
    /// What the danger screen asks. Any of them means the emergency advice at once.
    pub enum DangerItem {
        /// Spurting or pouring, or still bleeding after ten minutes of firm pressure.
        Bleed = "bleed",
        /// Fainted, confused, or very hard to wake.
        Mind = "mind",
        /// Cannot finish a sentence for breath, or chest pain.
        Breath = "breath",
        /// Face, lips, tongue or throat swelling.
        Swell = "swell",
        /// Black, purple or grey skin, dark blisters, or skin that crackles.
        Skin = "skin",
        /// Pain climbing by the hour, far worse than the wound looks, and not helped by pills: all three.
        Pain = "pain",
        /// Numb between the legs, or private parts swelling fast. Asked near the bottom and groin.
        Low = "low",
        /// Eye swollen shut, double vision, stiff neck, or cannot swallow spit. Asked on face, scalp and neck.
        Face = "face",
    }
}

coded! {
    /// Who holds the phone.
    pub enum Who { Patient = "patient", Helper = "helper" }
}

coded! {
    pub enum YesNo { Yes = "yes", No = "no" }
}

coded! {
    /// How the patient feels since yesterday.
    pub enum Feels { Better = "better", Same = "same", Worse = "worse", VeryIll = "very_ill" }
}

coded! {
    pub enum TempUnit { Celsius = "c", Fahrenheit = "f" }
}

/// A thermometer reading, with what was typed kept beside what it means.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakenTemperature {
    /// As typed, such as `100.4` or `38,2`.
    pub entered: String,
    pub unit: TempUnit,
    /// Tenths of a degree Celsius, 300–430, rounded once: 100.4 °F is 380.
    pub tenths_c: u16,
}

/// The answer to "what is your temperature?".
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Temperature {
    NoThermometer,
    Taken(TakenTemperature),
}

coded! {
    /// Chills in the last day.
    pub enum Chills { No = "no", HotCold = "hot_cold", Shaking = "shaking" }
}

coded! {
    /// How far the red (or dark, shiny) skin goes from the wound edge, by pictures.
    pub enum EdgeBand {
        None = "none", Thin = "thin", ToOneInch = "to_1_inch", ToTwoInches = "to_2_inches",
        OverTwoInches = "over_2_inches",
    }
}

impl EdgeBand {
    /// The top of the band, in millimetres: a band never reads smaller than the wound may be. "One inch" is stored
    /// as 25; over two inches has no top and is stored as 100 (own choice).
    pub fn top_mm(self) -> u16 {
        match self {
            EdgeBand::None => 0,
            EdgeBand::Thin => 5,
            EdgeBand::ToOneInch => 25,
            EdgeBand::ToTwoInches => 50,
            EdgeBand::OverTwoInches => 100,
        }
    }

    /// Whether a ruler reading goes with the picture. At the pictures' limits a ruler may be off by 3 mm (own choice:
    /// a shaking hand); beside "no red" nothing but 0 fits.
    pub fn fits(self, ruler_mm: u16) -> bool {
        const OFF_MM: u16 = 3;
        match self {
            EdgeBand::None => ruler_mm == 0,
            EdgeBand::Thin => (1..=5 + OFF_MM).contains(&ruler_mm),
            EdgeBand::ToOneInch => (5 - OFF_MM..=25 + OFF_MM).contains(&ruler_mm),
            EdgeBand::ToTwoInches => (25 - OFF_MM..=50 + OFF_MM).contains(&ruler_mm),
            EdgeBand::OverTwoInches => ruler_mm >= 50 - OFF_MM,
        }
    }
}

/// How far the redness goes, by picture or by ruler.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    Band(EdgeBand),
    /// 0–300.
    RulerMm(u16),
    /// A picture and a ruler that do not fit together: both are kept, and the wider counts.
    Both {
        band: EdgeBand,
        ruler_mm: u16,
    },
}

impl Edge {
    /// Widest reach from the wound edge, in millimetres; of a band, its top.
    pub fn reach_mm(self) -> u16 {
        match self {
            Edge::Band(band) => band.top_mm(),
            Edge::RulerMm(mm) => mm,
            Edge::Both { band, ruler_mm } => band.top_mm().max(ruler_mm),
        }
    }
}

coded! {
    /// Since the last photo or the pen line.
    pub enum Trend { Smaller = "smaller", Same = "same", Bigger = "bigger" }
}

/// How fast the redness moved past the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgePace {
    /// 0–300.
    pub moved_mm: u16,
    /// 0–4320 (72 hours).
    pub over_minutes: u16,
}

coded! {
    /// What the back of the hand finds beside the wound, compared with the other side.
    pub enum WarmHard { Hot = "hot", Hard = "hard", Swollen = "swollen" }
}

coded! {
    /// Pain compared with yesterday.
    pub enum PainTrend { Better = "better", Same = "same", Worse = "worse" }
}

coded! {
    /// What comes out after washing.
    pub enum Drainage {
        None = "none",
        /// Clear or pink.
        Clear = "clear",
        ThinYellow = "thin_yellow",
        /// Thick yellow, green or white.
        Thick = "thick",
        /// Thin and grey, like dishwater.
        Gray = "gray",
        Stool = "stool",
    }
}

coded! {
    /// Amount that comes out, compared with yesterday.
    pub enum Amount { Less = "less", Same = "same", More = "more" }
}

coded! {
    pub enum Bleeding {
        None = "none",
        Spots = "spots",
        /// After washing, and stopped with pressing.
        AfterWashStopped = "after_wash_stopped",
        /// Soaked a gauze pad within an hour.
        SoaksPadHour = "soaks_pad_hour",
    }
}

coded! {
    /// Where the gauze strip is. "Not sure" is an answer here, and one that counts.
    pub enum StripAnswer {
        NeverHad = "never_had",
        /// All of it, in one piece.
        AllOut = "all_out",
        FellOut = "fell_out",
        PartOut = "part_out",
        Unsure = "unsure",
        StillIn = "still_in",
        /// Tried to take it out, and it stuck.
        Stuck = "stuck",
    }
}

/// The symptom checklist as filled in. Questions that were not asked are blank.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Answers {
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub who: Said<Who>,
    /// An empty set is "none of these".
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub danger: Said<BTreeSet<DangerItem>>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub better: Said<Feels>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub temp: Said<Temperature>,
    /// A second reading, asked for when the first was very low or hard to believe.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub temp_again: Said<TakenTemperature>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub feels_feverish: Said<YesNo>,
    /// A fever or pain pill in the last six hours.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub fever_pill: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub chills: Said<Chills>,
    /// `NotSure` also says that redness is hard to see on this skin.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub edge: Said<Edge>,
    /// `NotSure`: no line, or cannot tell.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub edge_move: Said<Trend>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub edge_hours: Said<EdgePace>,
    /// An empty set is "none of these".
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub warm_hard: Said<BTreeSet<WarmHard>>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub warm_hard_trend: Said<Trend>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub streaks: Said<YesNo>,
    /// At rest, 0–10.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pain: Said<u8>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pain_trend: Said<PainTrend>,
    /// The strip was pulled or the wound washed within the last hour.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pain_just_packed: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub drain: Said<Drainage>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub drain_amount: Said<Amount>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub smell: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub bleed: Said<Bleeding>,
    /// Bled twice or more since yesterday.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub bleed_repeat: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub strip: Said<StripAnswer>,
    /// Washes yesterday, 0–10.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub wash: Said<u8>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub gauze_changed: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub lump_back: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub closed_over: Said<YesNo>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub sugar: Said<Sugar>,
    /// An empty set is "none of these".
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub sugar_sick: Said<BTreeSet<SugarSick>>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub ketones: Said<Ketones>,
    /// Doses of the antibiotic missed since the last check, 0–20.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pills_missed: Said<u8>,
    /// Doses of the antibiotic thrown up, 0–20.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pills_vomited: Said<u8>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub rash: Said<Rash>,
    /// Loose stools in one day, 0–30.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub loose_stools: Said<u8>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub stool_blood: Said<YesNo>,
    /// Hours since the last pee, 0–48.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pee: Said<u8>,
    /// An empty set is "none of these".
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pee_signs: Said<BTreeSet<PeeSign>>,
    /// Stuck bent, swollen all around, and painful to straighten: all of it.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub finger: Said<YesNo>,
    /// Heart beats in one minute at rest, 30–220. Blank is not normal.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pulse: Said<u16>,
    /// Breaths in one minute at rest, 5–60.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub breaths: Said<u16>,
    /// The top number of a blood pressure, mmHg, 50–260.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub pressure: Said<u16>,
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub phone: Said<BestPhone>,
    /// A voice message may be left at that number.
    #[serde(skip_serializing_if = "Said::is_blank")]
    pub voicemail: Said<YesNo>,
    /// Where "none" stood beside another answer to the same question.
    #[serde(skip_serializing_if = "BTreeSet::is_empty")]
    pub none_beside: BTreeSet<NoneBeside>,
    /// Anything else, in the patient's own words, up to 1000 characters; a list of alarm words can only raise.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub words: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::MeterReading;

    #[test]
    fn answers_read_back_from_json_and_keep_blank_apart_from_not_sure() {
        let answers = Answers {
            danger: Said::Is(BTreeSet::new()),
            temp: Said::Is(Temperature::Taken(TakenTemperature {
                entered: "100,4".to_owned(),
                unit: TempUnit::Fahrenheit,
                tenths_c: 380,
            })),
            edge: Said::Is(Edge::Band(EdgeBand::ToOneInch)),
            edge_move: Said::NotSure,
            sugar: Said::Is(Sugar { reading: MeterReading::High, hours_ago: Some(2) }),
            ..Answers::default()
        };
        let json = serde_json::to_string(&answers).unwrap();
        assert_eq!(
            json,
            r#"{"danger":[],"temp":{"taken":{"entered":"100,4","unit":"f","tenths_c":380}},"edge":{"band":"to_1_inch"},"edge_move":"not_sure","sugar":{"reading":"high","hours_ago":2}}"#
        );
        assert_eq!(serde_json::from_str::<Answers>(&json).unwrap(), answers);
        let blank: Answers = serde_json::from_str(r#"{"edge_move":null}"#).unwrap();
        assert!(blank.edge_move.is_blank());
    }

    #[test]
    fn an_unknown_question_or_answer_is_refused() {
        assert!(serde_json::from_str::<Answers>(r#"{"mood":"good"}"#).is_err());
        assert!(serde_json::from_str::<Answers>(r#"{"edge_move":"sideways"}"#).is_err());
    }

    #[test]
    fn a_band_stores_its_top() {
        assert_eq!(
            EdgeBand::ALL.iter().map(|band| band.top_mm()).collect::<Vec<_>>(),
            vec![0, 5, 25, 50, 100]
        );
    }
}
