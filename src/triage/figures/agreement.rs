//! How the ranking agrees with the surgeons: what was assessed against what was judged.

use std::collections::BTreeMap;

use crate::triage::decision::Decision;
use crate::triage::figures::share::Share;
use crate::triage::urgency::Urgency;

/// Where a judgement comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The surgeon answered "How urgent was it?".
    Said,
    /// Read from the decision: [`Decision::judged`].
    Read,
}

/// One review that holds a judgement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    pub decision: Decision,
    /// The class the surgeon saw: as assessed from the answers, never raised for being overdue.
    pub assessed: Urgency,
    pub judged: Urgency,
    pub origin: Origin,
}

impl Judged {
    /// Whether the surgeon judged it graver than it was assessed.
    pub fn is_moved_up(&self) -> bool {
        self.judged > self.assessed
    }
}

/// Needs a voice or a visit within the hour.
fn is_within_the_hour(urgency: Urgency) -> bool {
    match urgency {
        Urgency::GoNow | Urgency::RingNow => true,
        Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack => false,
    }
}

/// Which of a check's judgements counts, given oldest first: the gravest, and of equally grave ones the first. The
/// first was made before anything that came later could have lifted the class, so a miss is never covered up.
pub fn gravest(judgements: &[Judged]) -> Option<&Judged> {
    judgements.iter().rev().max_by_key(|one| one.judged)
}

/// The four kinds of agreement. Urgent: judged to need a voice or a visit within the hour. Flagged: assessed as
/// `ring_now` or `go_now`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Matrix {
    /// a: urgent and flagged.
    pub caught: u64,
    /// b: not urgent but flagged.
    pub false_alarm: u64,
    /// c: urgent but not flagged.
    pub missed: u64,
    /// d: neither.
    pub calm: u64,
}

impl Matrix {
    /// c / (a + c), which is 1 − sensitivity. Not the under-triage of the trauma matrix: that is c / (c + d).
    pub fn missed_share_of_the_urgent(&self) -> Share {
        Share::new(self.missed, self.caught + self.missed)
    }

    /// b / (b + d), which is 1 − specificity. Not the over-triage of the trauma matrix: that is b / (a + b).
    pub fn false_share_of_the_calm(&self) -> Share {
        Share::new(self.false_alarm, self.false_alarm + self.calm)
    }

    /// How many checks it holds.
    pub fn total(&self) -> u64 {
        self.caught + self.false_alarm + self.missed + self.calm
    }

    fn count(&mut self, one: &Judged) {
        match (is_within_the_hour(one.judged), is_within_the_hour(one.assessed)) {
            (true, true) => self.caught += 1,
            (false, true) => self.false_alarm += 1,
            (true, false) => self.missed += 1,
            (false, false) => self.calm += 1,
        }
    }
}

/// Checks counted one by one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Agreement {
    by_decision: BTreeMap<(Decision, Urgency), u64>,
    matrix: Matrix,
    moved_up: u64,
    said: u64,
    without_judgement: u64,
    not_reviewed: u64,
}

impl Agreement {
    /// Counts a check that was reviewed, by the judgements in its reviews, oldest first; returns the one that counts.
    /// `None`: none of its reviews holds one.
    pub fn count_reviewed<'a>(&mut self, judgements: &'a [Judged]) -> Option<&'a Judged> {
        let Some(one) = gravest(judgements) else {
            self.without_judgement += 1;
            return None;
        };
        *self.by_decision.entry((one.decision, one.assessed)).or_default() += 1;
        self.matrix.count(one);
        self.moved_up += u64::from(one.is_moved_up());
        self.said += u64::from(one.origin == Origin::Said);
        Some(one)
    }

    /// Counts a check nobody reviewed yet.
    pub fn count_not_reviewed(&mut self) {
        self.not_reviewed += 1;
    }

    /// Checks with this decision among those assessed as this class.
    pub fn decided(&self, decision: Decision, assessed: Urgency) -> u64 {
        self.by_decision.get(&(decision, assessed)).copied().unwrap_or(0)
    }

    /// The four kinds of agreement.
    pub fn matrix(&self) -> Matrix {
        self.matrix
    }

    /// Checks with a judgement: what all shares are shares of.
    pub fn counted(&self) -> u64 {
        self.matrix.total()
    }

    /// The share of the counted checks that a surgeon judged graver than they were assessed.
    pub fn moved_up(&self) -> Share {
        Share::new(self.moved_up, self.counted())
    }

    /// Counted checks whose surgeon said how urgent it was; the others were read from the decision.
    pub fn said(&self) -> u64 {
        self.said
    }

    /// Reviewed checks that hold no judgement: only another photo was asked for.
    pub fn without_judgement(&self) -> u64 {
        self.without_judgement
    }

    /// Checks nobody reviewed yet.
    pub fn not_reviewed(&self) -> u64 {
        self.not_reviewed
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn judged(decision: Decision, assessed: Urgency, judged: Urgency) -> Judged {
        Judged { decision, assessed, judged, origin: Origin::Read }
    }

    fn of(a: u64, b: u64, c: u64, d: u64) -> Agreement {
        let mut agreement = Agreement::default();
        let kinds = [
            (a, Urgency::RingNow, Urgency::GoNow),
            (b, Urgency::GoNow, Urgency::Today),
            (c, Urgency::Today, Urgency::RingNow),
            (d, Urgency::Tomorrow, Urgency::OnTrack),
        ];
        for (times, assessed, gravity) in kinds {
            for _ in 0..times {
                agreement.count_reviewed(&[judged(Decision::ComeIn, assessed, gravity)]);
            }
        }
        agreement
    }

    /// The worked example of the practice's reference on missed and false alarms: a 38, b 52, c 2, d 148.
    #[test]
    fn the_missed_share_of_the_urgent_is_not_the_under_triage_of_the_trauma_matrix() {
        let matrix = of(38, 52, 2, 148).matrix();
        let percent = |share: Share| format!("{:.1}", 100.0 * share.value().unwrap());
        assert_eq!(percent(matrix.missed_share_of_the_urgent()), "5.0");
        assert_eq!(percent(matrix.false_share_of_the_calm()), "26.0");
        let under_triage = Share::new(matrix.missed, matrix.missed + matrix.calm);
        let over_triage = Share::new(matrix.false_alarm, matrix.caught + matrix.false_alarm);
        assert_eq!((percent(under_triage), percent(over_triage)), ("1.3".to_owned(), "57.8".to_owned()));
    }

    #[test]
    fn today_is_not_within_the_hour_and_ring_now_is() {
        let mut agreement = Agreement::default();
        agreement.count_reviewed(&[judged(Decision::Antibiotic, Urgency::Today, Urgency::Today)]);
        assert_eq!(agreement.matrix(), Matrix { calm: 1, ..Matrix::default() });
        agreement.count_reviewed(&[judged(Decision::CallByOffice, Urgency::RingNow, Urgency::RingNow)]);
        assert_eq!(agreement.matrix(), Matrix { caught: 1, calm: 1, ..Matrix::default() });
        assert_eq!(agreement.moved_up().hits(), 0);
    }

    #[test]
    fn a_check_with_several_reviews_counts_once_by_its_gravest_and_by_the_first_of_equals() {
        let calm = judged(Decision::HealingAsExpected, Urgency::OnTrack, Urgency::OnTrack);
        let missed = judged(Decision::GoToEmergency, Urgency::OnTrack, Urgency::GoNow);
        // The patient had added the danger by then, and the class had risen.
        let caught = judged(Decision::GoToEmergency, Urgency::GoNow, Urgency::GoNow);
        assert_eq!(gravest(&[calm, missed, caught]), Some(&missed));
        assert_eq!(gravest(&[caught, missed]), Some(&caught));
        assert_eq!(gravest(&[]), None);
        let mut agreement = Agreement::default();
        agreement.count_reviewed(&[calm, missed, caught]);
        assert_eq!((agreement.counted(), agreement.matrix().missed), (1, 1));
        assert_eq!(agreement.decided(Decision::GoToEmergency, Urgency::OnTrack), 1);
    }

    #[test]
    fn a_check_without_a_judgement_is_counted_aside() {
        let mut agreement = Agreement::default();
        assert_eq!(agreement.count_reviewed(&[]), None);
        agreement.count_not_reviewed();
        assert_eq!(agreement.counted(), 0);
        assert_eq!((agreement.without_judgement(), agreement.not_reviewed()), (1, 1));
    }

    fn any_judged() -> impl Strategy<Value = Judged> {
        let class = || prop::sample::select(Urgency::ALL);
        let origin = prop::sample::select(&[Origin::Said, Origin::Read][..]);
        (prop::sample::select(Decision::ALL), class(), class(), origin)
            .prop_map(|(decision, assessed, judged, origin)| Judged { decision, assessed, judged, origin })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(500))]

        #[test]
        fn the_table_adds_up_to_the_counted_checks_and_nothing_is_lost(
            checks in prop::collection::vec(prop::collection::vec(any_judged(), 0..4), 0..60),
            waiting in 0_u64..5,
        ) {
            let mut agreement = Agreement::default();
            for judgements in &checks {
                agreement.count_reviewed(judgements);
            }
            (0..waiting).for_each(|_| agreement.count_not_reviewed());
            let cells = Decision::ALL.iter().flat_map(|decision| Urgency::ALL.iter().map(move |class| (*decision, *class)));
            let table: u64 = cells.map(|(decision, class)| agreement.decided(decision, class)).sum();
            prop_assert_eq!(table, agreement.counted());
            let reviewed = agreement.counted() + agreement.without_judgement();
            prop_assert_eq!(reviewed, checks.len() as u64);
            prop_assert_eq!(agreement.not_reviewed(), waiting);
            let (urgent, calm) = (agreement.matrix().missed_share_of_the_urgent(), agreement.matrix().false_share_of_the_calm());
            prop_assert_eq!(urgent.cases() + calm.cases(), agreement.counted());
            // Every miss was moved up; not everything moved up was a miss.
            prop_assert!(agreement.moved_up().hits() >= urgent.hits());
        }

        #[test]
        fn another_review_never_makes_a_check_count_as_less_grave(
            judgements in prop::collection::vec(any_judged(), 1..5),
            another in any_judged(),
        ) {
            let before = gravest(&judgements).unwrap().judged;
            let mut more = judgements.clone();
            more.push(another);
            prop_assert_eq!(gravest(&more).unwrap().judged, before.max(another.judged));
        }
    }
}
