//! The question as typed into the cover page, and what is wrong with it. Everything typed is shown again as it was.

use jiff::civil::Weekday;

use crate::care::Fault;
use crate::care::forecast::Records;
use crate::triage::Urgency;
use crate::triage::forecast::ArrivalRates;
use crate::triage::forecast::ByClass;
use crate::triage::forecast::DutyWeek;
use crate::triage::forecast::FEWEST_RECORDED;
use crate::triage::forecast::FEWEST_WEEKS;
use crate::triage::forecast::Question;
use crate::triage::forecast::RecordedArrivals;
use crate::triage::forecast::ReviewLengths;
use crate::triage::forecast::Spread;
use crate::triage::forecast::Unanswerable;

/// Weeks of records looked at when nothing was typed: a quarter of a year.
pub const USUAL_WEEKS: u32 = 12;
const MOST_WEEKS: u32 = 104;
const MOST_MINUTES: f64 = 240.0;
/// What a review takes when nothing was typed. Our choice, no source.
const USUAL_MINUTES: &str = "5";

pub const DAYS: [(Weekday, &str, &str); 7] = [
    (Weekday::Monday, "mon", "Monday"),
    (Weekday::Tuesday, "tue", "Tuesday"),
    (Weekday::Wednesday, "wed", "Wednesday"),
    (Weekday::Thursday, "thu", "Thursday"),
    (Weekday::Friday, "fri", "Friday"),
    (Weekday::Saturday, "sat", "Saturday"),
    (Weekday::Sunday, "sun", "Sunday"),
];

/// The form as typed.
#[derive(Clone, Debug, Default)]
pub struct ForecastForm {
    /// `records` or `typed`.
    pub source: String,
    pub weeks: String,
    pub per_day: ByClass<String>,
    pub minutes: ByClass<String>,
    /// `flat` or `recorded`.
    pub hours: String,
    /// `log_normal` or `exponential`.
    pub spread: String,
    pub reviewers: String,
    pub opens: String,
    pub closes: String,
    /// Codes of [`DAYS`].
    pub days: Vec<String>,
    pub seed: String,
}

impl ForecastForm {
    /// Reads the address. `None`: the page was opened without a question.
    pub fn read(query: &str) -> Option<ForecastForm> {
        let pairs: Vec<(String, String)> = serde_urlencoded::from_str(query).unwrap_or_default();
        if pairs.is_empty() {
            return None;
        }
        let last = |name: &str| {
            pairs
                .iter()
                .rev()
                .find(|(key, _)| key == name)
                .map(|(_, value)| value.clone())
                .unwrap_or_default()
        };
        Some(ForecastForm {
            source: last("source"),
            weeks: last("weeks"),
            per_day: ByClass::of_each(|urgency| last(per_day_field(urgency))),
            minutes: ByClass::of_each(|urgency| last(minutes_field(urgency))),
            hours: last("hours"),
            spread: last("spread"),
            reviewers: last("reviewers"),
            opens: last("opens"),
            closes: last("closes"),
            days: pairs.iter().filter(|(key, _)| key == "day").map(|(_, value)| value.clone()).collect(),
            seed: last("seed"),
        })
    }

    /// What the page begins with: the practice's own hours, surgeons and records.
    pub fn usual(records: &Records) -> ForecastForm {
        let clock = |minute: i64| format!("{}:{:02}", minute / 60, minute % 60);
        let few = records.arrivals.are_too_few();
        let per_day = records.arrivals.per_day();
        ForecastForm {
            source: if few { "typed" } else { "records" }.to_owned(),
            weeks: USUAL_WEEKS.to_string(),
            per_day: per_day.map(|day| if few { String::new() } else { format!("{day:.2}") }),
            minutes: ByClass::of_each(|_| USUAL_MINUTES.to_owned()),
            hours: if few { "flat" } else { "recorded" }.to_owned(),
            spread: "log_normal".to_owned(),
            reviewers: records.surgeons.max(1).to_string(),
            opens: clock(records.practice.opens_minute),
            closes: clock(records.practice.closes_minute),
            days: DAYS[..5].iter().map(|(_, code, _)| (*code).to_owned()).collect(),
            seed: "1".to_owned(),
        }
    }

    /// Weeks of records to look at, also while what was typed cannot be used.
    pub fn weeks_or_usual(&self) -> u32 {
        whole(&self.weeks).filter(|weeks| (FEWEST_WEEKS..=MOST_WEEKS).contains(weeks)).unwrap_or(USUAL_WEEKS)
    }

    /// The hours of duty: "Monday to Friday from 8:00 to 18:00".
    pub fn duty_words(&self) -> String {
        let chosen: Vec<bool> =
            DAYS.iter().map(|(_, code, _)| self.days.iter().any(|day| day == code)).collect();
        let (opens, closes) = (self.opens.trim(), self.closes.trim());
        let days = match chosen[..] {
            [true, true, true, true, true, false, false] => "Monday to Friday".to_owned(),
            [true, true, true, true, true, true, true] => "every day".to_owned(),
            _ => {
                let names = DAYS.iter().zip(&chosen).filter(|(_, is_chosen)| **is_chosen);
                names.map(|((_, _, words), _)| *words).collect::<Vec<_>>().join(", ")
            }
        };
        format!("{days} from {opens} to {closes}")
    }

    /// The question, or everything that keeps it from being one.
    pub fn question(&self, recorded: &RecordedArrivals) -> Result<Question, Vec<Fault>> {
        let mut reading = Reading::default();
        let rates = self.rates(recorded, &mut reading);
        let lengths = self.lengths(&mut reading);
        let duty = self.duty(&mut reading);
        let typed = whole(&self.reviewers).filter(|reviewers| *reviewers > 0);
        let reviewers = reading.take("reviewers", typed, "Enter a whole number of reviewers, 1 or more.");
        let seed =
            reading.take("seed", self.seed.trim().parse::<u64>().ok(), "Enter a whole number, such as 1.");
        if !reading.faults.is_empty() {
            return Err(reading.faults);
        }
        let parts = rates.zip(lengths).zip(duty).zip(reviewers).zip(seed);
        let Some(((((rates, lengths), duty), reviewers), seed)) = parts else { return Err(reading.faults) };
        Question::new(rates, lengths, reviewers, duty, seed).map_err(|why| vec![unanswerable(why)])
    }

    fn rates(&self, recorded: &RecordedArrivals, reading: &mut Reading) -> Option<ArrivalRates> {
        let weeks = whole(&self.weeks).filter(|weeks| (FEWEST_WEEKS..=MOST_WEEKS).contains(weeks));
        let from_records = self.source == "records";
        let like_records = from_records || self.hours == "recorded";
        if like_records {
            let words = format!("Enter a number of weeks from {FEWEST_WEEKS} to {MOST_WEEKS}.");
            reading.take("weeks", weeks, &words)?;
        }
        if like_records && recorded.are_too_few() {
            let field = if from_records { "source" } else { "hours" };
            return reading.take(field, None, &too_few_words(recorded));
        }
        if from_records {
            return Some(ArrivalRates::recorded(recorded));
        }
        let per_day = ByClass::of_each(|urgency| {
            let words =
                format!("{}: enter how many come a day, such as 0.5; 0 if none do.", urgency.staff_words());
            let typed = number(self.per_day.of(urgency)).filter(|day| *day >= 0.0);
            reading.take(per_day_field(urgency), typed, &words).unwrap_or(0.0)
        });
        Some(if like_records {
            ArrivalRates::shaped(&per_day, recorded)
        } else {
            ArrivalRates::flat(&per_day)
        })
    }

    fn lengths(&self, reading: &mut Reading) -> Option<ReviewLengths> {
        let mean_minutes = ByClass::of_each(|urgency| {
            let words = format!(
                "{}: enter the minutes a review takes, above 0 and up to {MOST_MINUTES}.",
                urgency.staff_words()
            );
            let typed = number(self.minutes.of(urgency));
            let sound = typed.filter(|minutes| *minutes > 0.0 && *minutes <= MOST_MINUTES);
            reading.take(minutes_field(urgency), sound, &words).unwrap_or(1.0)
        });
        let spread = match self.spread.as_str() {
            "exponential" => Spread::Exponential,
            _ => Spread::LogNormal,
        };
        Some(ReviewLengths { mean_minutes, spread })
    }

    fn duty(&self, reading: &mut Reading) -> Option<DutyWeek> {
        let words = "Enter a time from 0:00 to 24:00, such as 8:30.";
        let opens = reading.take("opens", minute_of_day(&self.opens), words);
        let closes = reading.take("closes", minute_of_day(&self.closes), words);
        let days: Vec<Weekday> = DAYS
            .iter()
            .filter(|(_, code, _)| self.days.iter().any(|typed| typed == code))
            .map(|(day, _, _)| *day)
            .collect();
        reading.take("days", (!days.is_empty()).then_some(()), "Choose at least one day of the week.");
        let (opens, closes) = opens.zip(closes)?;
        let later = "Enter an end later than the beginning. For day and night enter 0:00 and 24:00.";
        reading.take("closes", (opens < closes).then_some(()), later)?;
        Some(DutyWeek::on(&days, opens, closes))
    }
}

/// Faults found while reading.
#[derive(Default)]
struct Reading {
    faults: Vec<Fault>,
}

impl Reading {
    /// Notes what to do about `field` when there is no value.
    fn take<T>(&mut self, field: &'static str, value: Option<T>, words: &str) -> Option<T> {
        if value.is_none() {
            self.faults.push(Fault::new(field, words));
        }
        value
    }
}

/// Said where the records cannot be gone by.
pub fn too_few_words(recorded: &RecordedArrivals) -> String {
    format!(
        "Too few records to go by: {} in {}. It takes at least {FEWEST_RECORDED} wound checks, so that their number is \
         known to about 20 percent, and {FEWEST_WEEKS} whole weeks. Type in what you expect, at the same rate all day \
         and night.",
        counted(recorded.total(), "wound check"),
        counted(u64::from(recorded.weeks()), "whole week"),
    )
}

/// "1 week", "3 weeks".
pub fn counted(count: u64, thing: &str) -> String {
    if count == 1 { format!("1 {thing}") } else { format!("{count} {thing}s") }
}

fn unanswerable(why: Unanswerable) -> Fault {
    match why {
        Unanswerable::NoReviewer => {
            Fault::new("reviewers", "With no reviewer nothing is ever read. Enter 1 or more.")
        }
        Unanswerable::TooManyReviewers { most } => {
            Fault::new("reviewers", format!("This page works with up to {most} reviewers. Enter fewer."))
        }
        Unanswerable::NobodyOnDuty => Fault::new("closes", "Nobody is ever on duty. Enter longer hours."),
        Unanswerable::NothingComes => {
            Fault::new(per_day_field(Urgency::GoNow), "No checks come at all. Enter how many you expect.")
        }
        Unanswerable::TooManyCome { most_per_day } => Fault::new(
            per_day_field(Urgency::GoNow),
            format!("This page works with up to {most_per_day} checks a day in all. Enter fewer."),
        ),
        Unanswerable::NoMinutes => {
            Fault::new(minutes_field(Urgency::GoNow), "A review takes some time. Enter minutes above 0.")
        }
        Unanswerable::TooMuchWork { work_minutes_a_week, duty_minutes_a_week, enough_reviewers } => {
            Fault::new(
                "reviewers",
                format!(
                    "There is not enough cover: {work_minutes_a_week:.0} minutes of reviewing come in a week, and each \
                 reviewer has {duty_minutes_a_week:.0} minutes on duty. Checks would pile up without end. It takes at \
                 least {}, longer hours, or shorter reviews.",
                    counted(enough_reviewers, "reviewer"),
                ),
            )
        }
    }
}

pub fn per_day_field(urgency: Urgency) -> &'static str {
    match urgency {
        Urgency::GoNow => "per_day_go_now",
        Urgency::RingNow => "per_day_ring_now",
        Urgency::Today => "per_day_today",
        Urgency::Tomorrow => "per_day_tomorrow",
        Urgency::OnTrack => "per_day_on_track",
    }
}

pub fn minutes_field(urgency: Urgency) -> &'static str {
    match urgency {
        Urgency::GoNow => "minutes_go_now",
        Urgency::RingNow => "minutes_ring_now",
        Urgency::Today => "minutes_today",
        Urgency::Tomorrow => "minutes_tomorrow",
        Urgency::OnTrack => "minutes_on_track",
    }
}

fn number(typed: &str) -> Option<f64> {
    typed.trim().parse::<f64>().ok().filter(|number| number.is_finite())
}

fn whole(typed: &str) -> Option<u32> {
    typed.trim().parse().ok()
}

/// Local minutes after midnight of "8:30" or "08:30"; "24:00" is the day's end.
fn minute_of_day(typed: &str) -> Option<i64> {
    let (hour, minute) = typed.trim().split_once(':')?;
    let digits = |part: &str, most: i64| {
        let plain = (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        part.parse::<i64>().ok().filter(|value| plain && *value <= most)
    };
    let minutes = digits(hour, 24)? * 60 + digits(minute, 59).filter(|_| minute.len() == 2)?;
    (minutes <= 24 * 60).then_some(minutes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> ForecastForm {
        ForecastForm {
            source: "typed".to_owned(),
            weeks: "12".to_owned(),
            per_day: ByClass::of_each(|_| "2".to_owned()),
            minutes: ByClass::of_each(|_| "5".to_owned()),
            hours: "flat".to_owned(),
            spread: "exponential".to_owned(),
            reviewers: "1".to_owned(),
            opens: "8:00".to_owned(),
            closes: "18:00".to_owned(),
            days: vec!["mon".to_owned(), "fri".to_owned()],
            seed: "7".to_owned(),
        }
    }

    fn asked(change: impl FnOnce(&mut ForecastForm)) -> Result<Question, Vec<Fault>> {
        let mut form = typed();
        change(&mut form);
        form.question(&RecordedArrivals::over(0))
    }

    #[track_caller]
    fn refused(field: &str, change: impl FnOnce(&mut ForecastForm)) {
        let faults = asked(change).expect_err("a fault");
        assert_eq!(faults.iter().map(|fault| fault.field).collect::<Vec<_>>(), [field], "{faults:?}");
    }

    #[test]
    fn a_sound_form_is_a_question() {
        let question = asked(|_| ()).unwrap();
        assert_eq!((question.reviewers(), question.seed()), (1, 7));
        assert_eq!(question.duty().minutes(), 2 * 600);
        assert_eq!(question.work_minutes_a_week().round(), 5.0 * 2.0 * 7.0 * 5.0);
    }

    #[test]
    fn each_thing_typed_wrongly_is_named_by_its_own_field() {
        refused("reviewers", |form| form.reviewers = "0".to_owned());
        refused("reviewers", |form| form.reviewers = "-1".to_owned());
        refused("reviewers", |form| form.reviewers = "two".to_owned());
        refused("reviewers", |form| form.reviewers = "51".to_owned());
        refused("seed", |form| form.seed = "1.5".to_owned());
        refused("opens", |form| form.opens = "8".to_owned());
        refused("closes", |form| form.closes = "24:01".to_owned());
        refused("closes", |form| form.closes = "8:00".to_owned());
        refused("days", |form| form.days.clear());
        for wrong in ["", "-1", "NaN", "inf", "1,5", "many"] {
            refused("per_day_today", |form| *form.per_day.of_mut(Urgency::Today) = wrong.to_owned());
        }
        for wrong in ["0", "240.1", "-5", "1e999", ""] {
            refused("minutes_on_track", |form| *form.minutes.of_mut(Urgency::OnTrack) = wrong.to_owned());
        }
        refused("per_day_go_now", |form| form.per_day = ByClass::of_each(|_| "0".to_owned()));
        refused("per_day_go_now", |form| form.per_day = ByClass::of_each(|_| "1e9".to_owned()));
        refused("source", |form| form.source = "records".to_owned());
        refused("hours", |form| form.hours = "recorded".to_owned());
        refused("weeks", |form| (form.source, form.weeks) = ("records".to_owned(), "3".to_owned()));
    }

    #[test]
    fn the_hours_of_duty_are_said_as_a_person_says_them() {
        let words = |days: &[&str]| {
            let days = days.iter().map(|day| (*day).to_owned()).collect();
            ForecastForm { days, ..typed() }.duty_words()
        };
        assert_eq!(words(&["mon", "tue", "wed", "thu", "fri"]), "Monday to Friday from 8:00 to 18:00");
        assert_eq!(words(&["sat", "mon"]), "Monday, Saturday from 8:00 to 18:00");
        assert_eq!(words(&DAYS.map(|(_, code, _)| code)), "every day from 8:00 to 18:00");
    }

    #[test]
    fn several_faults_are_all_said_at_once() {
        let faults = asked(|form| {
            form.seed.clear();
            form.opens = "noon".to_owned();
            form.reviewers = "x".to_owned();
        });
        assert_eq!(faults.unwrap_err().len(), 3);
    }

    #[test]
    fn more_work_than_time_says_how_many_reviewers_it_takes() {
        // 5 classes × 24 a day × 7 days × 5 minutes = 4,200 minutes for 1,200 on duty.
        let faults = asked(|form| form.per_day = ByClass::of_each(|_| "24".to_owned())).unwrap_err();
        assert_eq!(faults[0].field, "reviewers");
        assert!(faults[0].words.contains("4200 minutes of reviewing"), "{}", faults[0].words);
        assert!(faults[0].words.contains("1200 minutes on duty"), "{}", faults[0].words);
        assert!(faults[0].words.contains("at least 4 reviewers"), "{}", faults[0].words);
    }

    #[test]
    fn times_of_day_are_read_to_the_minute_up_to_midnight() {
        for (typed, minutes) in
            [("0:00", 0), ("8:30", 510), ("08:30", 510), (" 23:59 ", 1_439), ("24:00", 1_440)]
        {
            assert_eq!(minute_of_day(typed), Some(minutes), "{typed}");
        }
        for wrong in ["", "8", "8:5", "8:60", "25:00", "24:01", "-1:00", "8:30pm", "::", "+8:00", "008:00"] {
            assert_eq!(minute_of_day(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn the_address_is_read_whatever_it_holds() {
        assert!(ForecastForm::read("").is_none());
        let form =
            ForecastForm::read("day=mon&day=sun&reviewers=1&reviewers=%zz&per_day_today=3&x=y").unwrap();
        assert_eq!(form.days, ["mon", "sun"]);
        assert_eq!(form.per_day.of(Urgency::Today), "3");
        assert_eq!(form.minutes.of(Urgency::Today), "");
    }
}
