//! How many checks of each class come in each hour of the week, as recorded or as expected by whoever asks.

use crate::triage::Urgency;
use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::duty::DutyWeek;

pub const HOURS_OF_WEEK: usize = 168;

/// Fewer recorded checks are too few to go by. With 100, the 95 % interval of their number is ±20 % (1.96/√100, the
/// spread of a Poisson count); with fewer it is wider.
pub const FEWEST_RECORDED: u64 = 100;
/// Fewer whole weeks are too few to tell a weekday from a chance. Our choice, no source.
pub const FEWEST_WEEKS: u32 = 4;

/// One class's own hours weigh as much as those of all classes together once it has this many records: one for each
/// hour of the week. Our choice, no source.
const OWN_HOURS_FROM: f64 = 168.0;

/// What came in, counted over whole weeks.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedArrivals {
    weeks: u32,
    counts: ByClass<Vec<u64>>,
}

impl RecordedArrivals {
    /// Nothing counted yet. `weeks`: how many whole weeks are being counted.
    pub fn over(weeks: u32) -> RecordedArrivals {
        RecordedArrivals { weeks, counts: ByClass::of_each(|_| vec![0; HOURS_OF_WEEK]) }
    }

    /// Counts `checks` more. An hour from 168 up belongs to the next week.
    pub fn count(&mut self, urgency: Urgency, hour_of_week: usize, checks: u64) {
        self.counts.of_mut(urgency)[hour_of_week % HOURS_OF_WEEK] += checks;
    }

    pub fn weeks(&self) -> u32 {
        self.weeks
    }

    pub fn of_class(&self, urgency: Urgency) -> u64 {
        self.counts.of(urgency).iter().sum()
    }

    pub fn total(&self) -> u64 {
        self.counts.iter().map(|(urgency, _)| self.of_class(urgency)).sum()
    }

    /// Of all classes together, in one hour of the week over all weeks.
    pub fn in_hour(&self, hour_of_week: usize) -> u64 {
        self.counts.iter().map(|(_, hours)| hours[hour_of_week % HOURS_OF_WEEK]).sum()
    }

    pub fn per_day(&self) -> ByClass<f64> {
        let days = f64::from(self.weeks.max(1)) * 7.0;
        ByClass::of_each(|urgency| self.of_class(urgency) as f64 / days)
    }

    /// See [`FEWEST_RECORDED`] and [`FEWEST_WEEKS`].
    pub fn are_too_few(&self) -> bool {
        self.total() < FEWEST_RECORDED || self.weeks < FEWEST_WEEKS
    }

    /// How one class's week is spread over its hours, adding up to 1: its own hours, drawn towards those of all classes
    /// together the more the fewer records it has. Nothing recorded at all: evenly.
    fn shape(&self, urgency: Urgency) -> Vec<f64> {
        let (own_total, all_total) = (self.of_class(urgency) as f64, self.total() as f64);
        (0..HOURS_OF_WEEK)
            .map(|hour| {
                let all = self.in_hour(hour) as f64;
                let pooled = if all_total > 0.0 { all / all_total } else { 1.0 / HOURS_OF_WEEK as f64 };
                let own = self.counts.of(urgency)[hour] as f64;
                (own + OWN_HOURS_FROM * pooled) / (own_total + OWN_HOURS_FROM)
            })
            .collect()
    }
}

/// Expected arrivals an hour, for each class and each hour of the week.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrivalRates {
    per_hour: ByClass<Vec<f64>>,
}

impl ArrivalRates {
    /// The same at every hour of the day and night.
    pub fn flat(per_day: &ByClass<f64>) -> ArrivalRates {
        ArrivalRates { per_hour: per_day.map(|day| vec![day / 24.0; HOURS_OF_WEEK]) }
    }

    /// So many a day on average, at the hours of the week the records show.
    pub fn shaped(per_day: &ByClass<f64>, like: &RecordedArrivals) -> ArrivalRates {
        ArrivalRates {
            per_hour: ByClass::of_each(|urgency| {
                let a_week = 7.0 * per_day.of(urgency);
                like.shape(urgency).into_iter().map(|share| share * a_week).collect()
            }),
        }
    }

    /// As recorded, in number and in hours.
    pub fn recorded(counted: &RecordedArrivals) -> ArrivalRates {
        ArrivalRates::shaped(&counted.per_day(), counted)
    }

    /// Checks of a class expected in one hour of the week.
    pub fn at(&self, urgency: Urgency, hour_of_week: usize) -> f64 {
        self.per_hour.of(urgency)[hour_of_week % HOURS_OF_WEEK]
    }

    /// Checks of all classes expected in one hour of the week.
    pub fn all_at(&self, hour_of_week: usize) -> f64 {
        self.per_hour.iter().map(|(_, hours)| hours[hour_of_week % HOURS_OF_WEEK]).sum()
    }

    pub fn per_week(&self) -> ByClass<f64> {
        self.per_hour.map(|hours| hours.iter().sum())
    }

    /// Whether no hour of the week expects more than another.
    pub fn are_steady(&self) -> bool {
        self.per_hour.iter().all(|(_, hours)| {
            let first = hours.first().copied().unwrap_or(0.0);
            hours.iter().all(|hour| (hour - first).abs() <= 1e-9 * first.abs())
        })
    }

    /// 0–1: how many of a class come while nobody is on duty. `None`: none come at all.
    pub fn share_off_duty(&self, urgency: Urgency, duty: &DutyWeek) -> Option<f64> {
        let hours = self.per_hour.of(urgency);
        let all: f64 = hours.iter().sum();
        let off: f64 =
            hours.iter().enumerate().map(|(hour, rate)| rate * (1.0 - duty.share_of_hour(hour))).sum();
        (all > 0.0).then(|| off / all)
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::Weekday;
    use proptest::prelude::*;

    use super::*;

    fn recorded(weeks: u32, counts: &[(Urgency, usize, u64)]) -> RecordedArrivals {
        let mut recorded = RecordedArrivals::over(weeks);
        for (urgency, hour, checks) in counts {
            recorded.count(*urgency, *hour, *checks);
        }
        recorded
    }

    #[test]
    fn a_hundred_checks_in_four_weeks_are_just_enough_to_go_by() {
        assert!(!recorded(4, &[(Urgency::Today, 5, 100)]).are_too_few());
        assert!(recorded(4, &[(Urgency::Today, 5, 99)]).are_too_few());
        assert!(recorded(3, &[(Urgency::Today, 5, 100)]).are_too_few());
    }

    #[test]
    fn a_class_with_few_records_comes_at_the_hours_of_all_and_one_with_many_at_its_own() {
        let few = recorded(10, &[(Urgency::OnTrack, 10, 1_000_000), (Urgency::GoNow, 50, 1)]);
        let rates = ArrivalRates::recorded(&few);
        let share =
            |rates: &ArrivalRates, urgency, hour| rates.at(urgency, hour) / rates.per_week().of(urgency);
        assert!(share(&rates, Urgency::GoNow, 10) > 0.99);
        assert!(share(&rates, Urgency::GoNow, 50) > 0.0);
        let many = recorded(10, &[(Urgency::OnTrack, 10, 1_000_000), (Urgency::GoNow, 50, 16_800)]);
        assert!(share(&ArrivalRates::recorded(&many), Urgency::GoNow, 50) > 0.99);
    }

    #[test]
    fn what_comes_at_night_comes_while_nobody_is_on_duty() {
        let workdays =
            [Weekday::Monday, Weekday::Tuesday, Weekday::Wednesday, Weekday::Thursday, Weekday::Friday];
        let duty = DutyWeek::on(&workdays, 8 * 60, 17 * 60 + 30);
        let flat = ArrivalRates::flat(&ByClass::of_each(|_| 2.0));
        let off = flat.share_off_duty(Urgency::Today, &duty).unwrap();
        assert!((off - (1.0 - 5.0 * 9.5 / 168.0)).abs() < 1e-9);
        let none = ArrivalRates::flat(&ByClass::of_each(|_| 0.0));
        assert_eq!(none.share_off_duty(Urgency::Today, &duty), None);
    }

    proptest! {
        #[test]
        fn the_hours_of_a_recorded_week_add_up_to_what_was_recorded(
            counts in prop::collection::vec((prop::sample::select(Urgency::ALL), 0..400_usize, 0..50_u64), 1..60),
            weeks in 1_u32..104,
        ) {
            let recorded = recorded(weeks, &counts);
            let rates = ArrivalRates::recorded(&recorded);
            for (urgency, a_week) in rates.per_week().iter() {
                let expected = recorded.of_class(urgency) as f64 / f64::from(weeks);
                prop_assert!((a_week - expected).abs() < 1e-9 * expected.max(1.0));
            }
            prop_assert_eq!(recorded.total(), counts.iter().map(|(_, _, checks)| checks).sum::<u64>());
            prop_assert!(ArrivalRates::flat(&recorded.per_day()).are_steady());
        }
    }
}
