//! Answers that contradict each other, or what the office entered: the worse one stands in the facts, and both are
//! shown to the surgeon.

use crate::plan::coded;
use crate::triage::answers::Amount;
use crate::triage::answers::Answers;
use crate::triage::answers::Bleeding;
use crate::triage::answers::DangerItem;
use crate::triage::answers::Drainage;
use crate::triage::answers::Edge;
use crate::triage::answers::PainTrend;
use crate::triage::answers::StripAnswer;
use crate::triage::answers::Trend;
use crate::triage::answers::YesNo;
use crate::triage::questions::Context;
use crate::triage::questions::StripKnown;
use crate::triage::special_answers::NoneBeside;

coded! {
    /// Two things that cannot both be so.
    pub enum Contradiction {
        /// "None of these" on the danger screen, beside a tick.
        NoDangerButTicked = "no_danger_but_ticked",
        /// No bleeding or spots, and the tick for bleeding that does not stop.
        NoBleedingButDanger = "no_bleeding_but_danger",
        NoBleedingButTwice = "no_bleeding_but_twice",
        /// The picture chosen and the ruler reading are of different widths.
        PictureAndRuler = "picture_and_ruler",
        NoRednessButGrowing = "no_redness_but_growing",
        NoRednessButStreaks = "no_redness_but_streaks",
        /// Not bigger, and moved past the line.
        NotBiggerButMoved = "not_bigger_but_moved",
        /// Nothing hot, hard or swollen, beside a tick.
        NothingHotButTicked = "nothing_hot_but_ticked",
        NothingHotButGrowing = "nothing_hot_but_growing",
        /// No thermometer, or not sure, beside a reading.
        NoThermometerButReading = "no_thermometer_but_reading",
        NoPainButWorse = "no_pain_but_worse",
        /// Little pain, and the tick for pain that is beyond what the wound looks like.
        LittlePainButDanger = "little_pain_but_danger",
        NothingComesButMore = "nothing_comes_but_more",
        /// Never had a strip, though the office entered one.
        NeverHadStripButPlaced = "never_had_strip_but_placed",
        /// A strip is spoken of, though the office entered none.
        StripButNonePlaced = "strip_but_none_placed",
        /// Still in, after an earlier check said that all of it was out.
        StripInAfterOut = "strip_in_after_out",
        NotSickButTicked = "not_sick_but_ticked",
        NoLooseStoolsButBlood = "no_loose_stools_but_blood",
        /// Nothing of bladder and bowel, beside a tick.
        PeesWellButTicked = "pees_well_but_ticked",
    }
}

/// At most this much pain is little beside "far worse than the wound looks" (own choice).
const LITTLE_PAIN: u8 = 3;

impl Contradiction {
    /// The question whose answer stands.
    pub fn stands(self) -> &'static str {
        match self {
            Contradiction::NoDangerButTicked
            | Contradiction::NoBleedingButDanger
            | Contradiction::LittlePainButDanger => "danger",
            Contradiction::NoBleedingButTwice => "bleed_repeat",
            Contradiction::PictureAndRuler => "edge",
            Contradiction::NoRednessButGrowing => "edge_move",
            Contradiction::NoRednessButStreaks => "streaks",
            Contradiction::NotBiggerButMoved => "edge_hours",
            Contradiction::NothingHotButTicked => "warm_hard",
            Contradiction::NothingHotButGrowing => "warm_hard_trend",
            Contradiction::NoThermometerButReading => "temp",
            Contradiction::NoPainButWorse => "pain_trend",
            Contradiction::NothingComesButMore => "drain_amount",
            Contradiction::NeverHadStripButPlaced
            | Contradiction::StripButNonePlaced
            | Contradiction::StripInAfterOut => "strip",
            Contradiction::NotSickButTicked => "sugar_sick",
            Contradiction::NoLooseStoolsButBlood => "stool_blood",
            Contradiction::PeesWellButTicked => "pee_signs",
        }
    }

    fn is_in(self, answers: &Answers, context: &Context) -> bool {
        let beside = |question| answers.none_beside.contains(&question);
        match self {
            Contradiction::NoDangerButTicked => beside(NoneBeside::Danger),
            Contradiction::NoBleedingButDanger => {
                let little = [Bleeding::None, Bleeding::Spots];
                ticked(answers, DangerItem::Bleed)
                    && answers.bleed.known().is_some_and(|bleeding| little.contains(bleeding))
            }
            Contradiction::NoBleedingButTwice => {
                answers.bleed.is(Bleeding::None) && answers.bleed_repeat.is(YesNo::Yes)
            }
            Contradiction::PictureAndRuler => matches!(answers.edge.known(), Some(Edge::Both { .. })),
            Contradiction::NoRednessButGrowing => no_redness(answers) && answers.edge_move.is(Trend::Bigger),
            Contradiction::NoRednessButStreaks => no_redness(answers) && answers.streaks.is(YesNo::Yes),
            Contradiction::NotBiggerButMoved => {
                let moved = answers.edge_hours.known().is_some_and(|pace| pace.moved_mm > 0);
                moved && answers.edge_move.known().is_some_and(|trend| *trend != Trend::Bigger)
            }
            Contradiction::NothingHotButTicked => beside(NoneBeside::WarmHard),
            Contradiction::NothingHotButGrowing => {
                let nothing = answers.warm_hard.known().is_some_and(|found| found.is_empty());
                nothing && answers.warm_hard_trend.is(Trend::Bigger)
            }
            Contradiction::NoThermometerButReading => beside(NoneBeside::Temp),
            Contradiction::NoPainButWorse => answers.pain.is(0) && answers.pain_trend.is(PainTrend::Worse),
            Contradiction::LittlePainButDanger => {
                let little = answers.pain.known().is_some_and(|pain| *pain <= LITTLE_PAIN);
                little && ticked(answers, DangerItem::Pain)
            }
            Contradiction::NothingComesButMore => {
                answers.drain.is(Drainage::None) && answers.drain_amount.is(Amount::More)
            }
            Contradiction::NeverHadStripButPlaced
            | Contradiction::StripButNonePlaced
            | Contradiction::StripInAfterOut => self.is_about_strip(answers, context),
            Contradiction::NotSickButTicked => beside(NoneBeside::SugarSick),
            Contradiction::NoLooseStoolsButBlood => {
                answers.loose_stools.is(0) && answers.stool_blood.is(YesNo::Yes)
            }
            Contradiction::PeesWellButTicked => beside(NoneBeside::PeeSigns),
        }
    }

    fn is_about_strip(self, answers: &Answers, context: &Context) -> bool {
        let Some(said) = answers.strip.known() else { return false };
        let found = match (context.strip, said) {
            (StripKnown::Unresolved | StripKnown::ConfirmedOut, StripAnswer::NeverHad) => {
                Some(Contradiction::NeverHadStripButPlaced)
            }
            (
                StripKnown::NeverPlaced,
                StripAnswer::AllOut
                | StripAnswer::FellOut
                | StripAnswer::PartOut
                | StripAnswer::StillIn
                | StripAnswer::Stuck,
            ) => Some(Contradiction::StripButNonePlaced),
            (
                StripKnown::ConfirmedOut,
                StripAnswer::PartOut | StripAnswer::StillIn | StripAnswer::Stuck | StripAnswer::Unsure,
            ) => Some(Contradiction::StripInAfterOut),
            (StripKnown::NeverPlaced, StripAnswer::NeverHad | StripAnswer::Unsure)
            | (StripKnown::ConfirmedOut, StripAnswer::AllOut | StripAnswer::FellOut)
            | (
                StripKnown::Unresolved,
                StripAnswer::AllOut
                | StripAnswer::FellOut
                | StripAnswer::PartOut
                | StripAnswer::Unsure
                | StripAnswer::StillIn
                | StripAnswer::Stuck,
            ) => None,
        };
        found == Some(self)
    }
}

/// Everything in these answers that does not fit together. How it was kept from calming the check is in
/// `Facts::from_check`.
pub fn contradictions(answers: &Answers, context: &Context) -> Vec<Contradiction> {
    Contradiction::ALL.iter().copied().filter(|kind| kind.is_in(answers, context)).collect()
}

fn ticked(answers: &Answers, item: DangerItem) -> bool {
    answers.danger.known().is_some_and(|items| items.contains(&item))
}

fn no_redness(answers: &Answers) -> bool {
    answers.edge.known().is_some_and(|edge| edge.reach_mm() == 0)
}
