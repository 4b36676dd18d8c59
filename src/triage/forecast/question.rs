//! What is asked: who comes when, how long a review takes, who reviews and when. Only what has an answer can be asked.

use crate::triage::forecast::arrivals::ArrivalRates;
use crate::triage::forecast::duty::DutyWeek;
use crate::triage::forecast::lengths::ReviewLengths;
use crate::triage::forecast::lengths::Spread;
use crate::triage::forecast::simulation::Cover;

/// More a day would take longer to play through than a page may take to answer.
const MOST_PER_DAY: f64 = 400.0;
const MOST_REVIEWERS: u32 = 50;
/// A load of 1, less what adding up 168 hours may round away.
const FULL: f64 = 1.0 - 1e-9;

/// Why a question has no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unanswerable {
    NoReviewer,
    TooManyReviewers {
        most: u32,
    },
    NobodyOnDuty,
    NothingComes,
    TooManyCome {
        most_per_day: f64,
    },
    /// A review must take some time.
    NoMinutes,
    /// The work of a week does not fit into its hours of duty: the queue would grow for ever.
    TooMuchWork {
        work_minutes_a_week: f64,
        duty_minutes_a_week: f64,
        /// The fewest reviewers whose hours it fits into.
        enough_reviewers: u64,
    },
}

/// What the formula takes for granted and the question does not grant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unmet {
    ArrivalsChangeWithTheHour,
    NotDayAndNight,
    LengthsDifferByClass,
    LengthsNotExponential,
}

/// A question that has an answer.
///
/// Invariant: the reviewers keep up, so that no queue grows for ever.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    rates: ArrivalRates,
    lengths: ReviewLengths,
    cover: Cover,
    seed: u64,
}

impl Question {
    /// `seed`: the same one gives the same answer, to the minute.
    pub fn new(
        rates: ArrivalRates,
        lengths: ReviewLengths,
        reviewers: u32,
        duty: DutyWeek,
        seed: u64,
    ) -> Result<Question, Unanswerable> {
        let per_day = rates.per_week().sum() / 7.0;
        if reviewers == 0 {
            return Err(Unanswerable::NoReviewer);
        }
        if reviewers > MOST_REVIEWERS {
            return Err(Unanswerable::TooManyReviewers { most: MOST_REVIEWERS });
        }
        if duty.minutes() == 0 {
            return Err(Unanswerable::NobodyOnDuty);
        }
        if !lengths.mean_minutes.iter().all(|(_, mean)| *mean > 0.0 && mean.is_finite()) {
            return Err(Unanswerable::NoMinutes);
        }
        if per_day.is_nan() || per_day <= 0.0 {
            return Err(Unanswerable::NothingComes);
        }
        if per_day > MOST_PER_DAY {
            return Err(Unanswerable::TooManyCome { most_per_day: MOST_PER_DAY });
        }
        let question = Question { rates, lengths, cover: Cover { reviewers, duty }, seed };
        if question.load() >= FULL {
            return Err(question.too_much_work());
        }
        Ok(question)
    }

    pub fn rates(&self) -> &ArrivalRates {
        &self.rates
    }

    pub fn lengths(&self) -> &ReviewLengths {
        &self.lengths
    }

    pub fn reviewers(&self) -> u32 {
        self.cover.reviewers
    }

    pub fn duty(&self) -> &DutyWeek {
        &self.cover.duty
    }

    pub fn seed(&self) -> u64 {
        self.seed
    }

    pub(super) fn cover(&self) -> &Cover {
        &self.cover
    }

    /// Minutes of reviewing that come in a week.
    pub fn work_minutes_a_week(&self) -> f64 {
        self.rates
            .per_week()
            .iter()
            .map(|(urgency, a_week)| a_week * self.lengths.mean_minutes.of(urgency))
            .sum()
    }

    /// Below 1: the reviewing that comes, over the reviewers' time on duty.
    pub fn load(&self) -> f64 {
        self.work_minutes_a_week() / (self.cover.duty.minutes() as f64 * f64::from(self.cover.reviewers))
    }

    fn too_much_work(&self) -> Unanswerable {
        let duty_minutes_a_week = self.cover.duty.minutes() as f64;
        let work_minutes_a_week = self.work_minutes_a_week();
        Unanswerable::TooMuchWork {
            work_minutes_a_week,
            duty_minutes_a_week,
            enough_reviewers: (work_minutes_a_week / duty_minutes_a_week / FULL).floor() as u64 + 1,
        }
    }

    /// What keeps the formula from being used. Empty: it holds.
    pub fn unmet(&self) -> Vec<Unmet> {
        let mut unmet = Vec::new();
        if !self.rates.are_steady() {
            unmet.push(Unmet::ArrivalsChangeWithTheHour);
        }
        if !self.cover.duty.is_round_the_clock() {
            unmet.push(Unmet::NotDayAndNight);
        }
        if self.lengths.same_for_all_minutes().is_none() {
            unmet.push(Unmet::LengthsDifferByClass);
        }
        match self.lengths.spread {
            Spread::Exponential => {}
            Spread::LogNormal => unmet.push(Unmet::LengthsNotExponential),
        }
        unmet
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Urgency;
    use crate::triage::forecast::arrivals::RecordedArrivals;
    use crate::triage::forecast::by_class::ByClass;

    fn minutes(each: f64) -> ReviewLengths {
        ReviewLengths { mean_minutes: ByClass::of_each(|_| each), spread: Spread::Exponential }
    }

    fn per_day(each: f64) -> ArrivalRates {
        ArrivalRates::flat(&ByClass::of_each(|_| each))
    }

    fn ask(rates: ArrivalRates, lengths: ReviewLengths, reviewers: u32) -> Result<Question, Unanswerable> {
        Question::new(rates, lengths, reviewers, DutyWeek::round_the_clock(), 1)
    }

    #[test]
    fn a_question_without_an_answer_says_why() {
        assert_eq!(ask(per_day(1.0), minutes(5.0), 0), Err(Unanswerable::NoReviewer));
        assert!(ask(per_day(1.0), minutes(5.0), 50).is_ok());
        assert_eq!(ask(per_day(1.0), minutes(5.0), 51), Err(Unanswerable::TooManyReviewers { most: 50 }));
        assert_eq!(ask(per_day(1.0), minutes(0.0), 1), Err(Unanswerable::NoMinutes));
        assert_eq!(ask(per_day(1.0), minutes(f64::NAN), 1), Err(Unanswerable::NoMinutes));
        assert_eq!(ask(per_day(0.0), minutes(5.0), 1), Err(Unanswerable::NothingComes));
        assert_eq!(ask(per_day(f64::NAN), minutes(5.0), 1), Err(Unanswerable::NothingComes));
        assert!(ask(per_day(80.0), minutes(5.0), 3).is_ok());
        let too_many = Err(Unanswerable::TooManyCome { most_per_day: 400.0 });
        assert_eq!(ask(per_day(80.01), minutes(5.0), 3), too_many);
        let nobody = Question::new(per_day(1.0), minutes(5.0), 1, DutyWeek::on(&[], 0, 60), 1);
        assert_eq!(nobody, Err(Unanswerable::NobodyOnDuty));
    }

    #[test]
    fn work_that_just_fits_is_answered_and_work_that_does_not_says_how_many_would_be_enough() {
        // 5 × 28.8 a day at 10 minutes is 1,440 minutes: the whole day of one reviewer.
        assert!(ask(per_day(28.79), minutes(10.0), 1).is_ok());
        match ask(per_day(28.8), minutes(10.0), 1) {
            Err(Unanswerable::TooMuchWork { enough_reviewers, duty_minutes_a_week, .. }) => {
                assert_eq!((enough_reviewers, duty_minutes_a_week), (2, 10_080.0));
                assert!(ask(per_day(28.8), minutes(10.0), 2).is_ok());
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_formula_holds_only_where_all_it_takes_for_granted_is_granted() {
        let granted = ask(per_day(1.0), minutes(5.0), 1).unwrap();
        assert_eq!(granted.unmet(), []);
        let mut recorded = RecordedArrivals::over(4);
        recorded.count(Urgency::Today, 9, 100);
        let mut differ = ReviewLengths { spread: Spread::LogNormal, ..minutes(5.0) };
        *differ.mean_minutes.of_mut(Urgency::OnTrack) = 2.0;
        let day = DutyWeek::on(&[jiff::civil::Weekday::Monday], 480, 1_020);
        let nothing = Question::new(ArrivalRates::recorded(&recorded), differ, 1, day, 1).unwrap();
        let all = [
            Unmet::ArrivalsChangeWithTheHour,
            Unmet::NotDayAndNight,
            Unmet::LengthsDifferByClass,
            Unmet::LengthsNotExponential,
        ];
        assert_eq!(nothing.unmet(), all);
    }
}
