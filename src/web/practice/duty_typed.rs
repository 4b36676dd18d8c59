//! The forms of the duty pages as typed, and what they mean: nothing typed is lost when a page comes back.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::civil::Time;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;

use crate::care::Fault;
use crate::care::duty::InReturn;
use crate::duty::Absence;
use crate::duty::DAY_MINUTES;
use crate::duty::DatedShift;
use crate::duty::DayHours;
use crate::duty::DutySpan;
use crate::duty::Rank;
use crate::duty::WeeklyShift;
use crate::ids::StaffId;
use crate::web::local_time;

/// The days of the week with their field names.
pub const WEEK: [(Weekday, &str, &str); 7] = [
    (Weekday::Monday, "mon", "Monday"),
    (Weekday::Tuesday, "tue", "Tuesday"),
    (Weekday::Wednesday, "wed", "Wednesday"),
    (Weekday::Thursday, "thu", "Thursday"),
    (Weekday::Friday, "fri", "Friday"),
    (Weekday::Saturday, "sat", "Saturday"),
    (Weekday::Sunday, "sun", "Sunday"),
];

const WHO: &str = "Choose who.";
const WHICH: &str = "Choose from the list.";
const TIME: &str = "Enter a time such as 08:00.";

/// Fields as typed.
#[derive(Clone, Debug, Default)]
pub struct Typed(Vec<(String, String)>);

type Read<T> = Result<T, Vec<Fault>>;

impl Typed {
    pub fn new(fields: Vec<(String, String)>) -> Typed {
        Typed(fields)
    }

    /// What was typed into a field; empty: nothing.
    pub fn text(&self, name: &str) -> &str {
        self.0.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.trim())
    }

    /// What stands in a field of the page: as typed, or `usual` where no form was sent.
    pub fn text_or(&self, name: &str, usual: &str) -> String {
        let typed = self.0.iter().find(|(field, _)| field == name);
        typed.map_or_else(|| usual.to_owned(), |(_, value)| value.clone())
    }

    pub fn is_ticked(&self, name: &str) -> bool {
        !self.text(name).is_empty()
    }

    pub fn is(&self, name: &str, code: &str) -> bool {
        self.text(name) == code
    }

    fn staff(&self, field: &'static str, faults: &mut Vec<Fault>) -> Option<StaffId> {
        taken(self.text(field).parse().ok(), field, WHO, faults)
    }

    fn rank(&self, field: &'static str, faults: &mut Vec<Fault>) -> Option<Rank> {
        taken(self.text(field).parse().ok(), field, "Choose first or second.", faults)
    }

    fn minute(&self, field: &'static str, faults: &mut Vec<Fault>) -> Option<i64> {
        taken(minute_of(self.text(field)), field, TIME, faults)
    }

    fn at(&self, field: &'static str, zone: &TimeZone, faults: &mut Vec<Fault>) -> Option<Timestamp> {
        match local_time::read(self.text(field), zone) {
            Ok(at) => taken(at, field, "Enter a date and a time.", faults),
            Err(wrong) => taken(None, field, wrong.words(), faults),
        }
    }

    /// The weekly shifts typed, one for each day ticked.
    pub fn weekly(&self) -> Read<Vec<WeeklyShift>> {
        let mut faults = Vec::new();
        let days: Vec<Weekday> = WEEK
            .iter()
            .filter(|(_, code, _)| self.is_ticked(&format!("weekly_{code}")))
            .map(|(weekday, _, _)| *weekday)
            .collect();
        if days.is_empty() {
            faults.push(Fault::new("weekly_days", "Tick at least one day."));
        }
        let (from, until) =
            (self.minute("weekly_from", &mut faults), self.minute("weekly_until", &mut faults));
        let (staff, rank) = (self.staff("weekly_staff", &mut faults), self.rank("weekly_rank", &mut faults));
        match (from, until, staff, rank) {
            (Some(from_minute), Some(until_minute), Some(staff), Some(rank)) if faults.is_empty() => Ok(days
                .into_iter()
                .map(|weekday| WeeklyShift { weekday, from_minute, until_minute, staff, rank })
                .collect()),
            _ => Err(faults),
        }
    }

    pub fn dated(&self, zone: &TimeZone) -> Read<DatedShift> {
        let mut faults = Vec::new();
        let from = self.at("dated_from", zone, &mut faults);
        let until = self.at("dated_until", zone, &mut faults);
        let (staff, rank) = (self.staff("dated_staff", &mut faults), self.rank("dated_rank", &mut faults));
        let instead_of = match self.text("dated_instead") {
            "" => None,
            _ => self.staff("dated_instead", &mut faults),
        };
        match (from, until, staff, rank) {
            (Some(from), Some(until), Some(staff), Some(rank)) if faults.is_empty() => {
                Ok(DatedShift { from, until, staff, rank, instead_of })
            }
            _ => Err(faults),
        }
    }

    pub fn away(&self, zone: &TimeZone) -> Read<Absence> {
        let mut faults = Vec::new();
        let staff = self.staff("away_staff", &mut faults);
        let from = self.at("away_from", zone, &mut faults);
        let until = self.at("away_until", zone, &mut faults);
        match (staff, from, until) {
            (Some(staff), Some(from), Some(until)) => Ok(Absence { staff, from, until }),
            _ => Err(faults),
        }
    }

    pub fn holiday(&self) -> Read<Date> {
        let day = self.text("holiday_day").parse();
        day.map_err(|_| vec![Fault::new("holiday_day", "Enter a date such as 2026-12-25.")])
    }

    /// Hours of all seven days; both times left empty: closed.
    pub fn hours(&self) -> Read<[Option<DayHours>; 7]> {
        let mut faults = Vec::new();
        let mut days = [None; 7];
        for (day, (_, code, name)) in days.iter_mut().zip(WEEK) {
            let field = |end: &str| self.text(&format!("hours_{code}_{end}"));
            let (from, until) = (field("from"), field("until"));
            if from.is_empty() && until.is_empty() {
                continue;
            }
            // Midnight as an end is the end of that day.
            let until = minute_of(until).map(|minute| if minute == 0 { DAY_MINUTES } else { minute });
            *day = minute_of(from).zip(until).and_then(|(from, until)| DayHours::new(from, until));
            if day.is_none() {
                let words =
                    format!("{name}: enter when it opens and, later, when it closes; or leave both empty.");
                faults.push(Fault::new("hours", words));
            }
        }
        if faults.is_empty() { Ok(days) } else { Err(faults) }
    }

    /// Which duty is given away, and for what.
    pub fn swap(&self) -> Read<(DutySpan, InReturn)> {
        let mut faults = Vec::new();
        let given = taken(span_of(self.text("swap_given")), "swap_given", WHICH, &mut faults);
        let back = self.text("swap_back");
        let back = span_of(back)
            .map(InReturn::Swap)
            .or_else(|| back.parse().ok().map(|taker| InReturn::Nothing { taker }));
        let back = taken(back, "swap_back", WHICH, &mut faults);
        given.zip(back).ok_or(faults)
    }
}

fn taken<T>(found: Option<T>, field: &'static str, words: &str, faults: &mut Vec<Fault>) -> Option<T> {
    if found.is_none() {
        faults.push(Fault::new(field, words));
    }
    found
}

/// Minutes after midnight of a typed time, as in 08:30.
fn minute_of(typed: &str) -> Option<i64> {
    let time: Time = typed.parse().ok()?;
    Some(i64::from(time.hour()) * 60 + i64::from(time.minute()))
}

/// A time of day as a form shows it: "08:30"; the end of the day as "00:00".
pub fn time_field(minute: i64) -> String {
    let minute = minute.rem_euclid(DAY_MINUTES);
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// A duty as an option of a list names it.
pub fn span_code(span: &DutySpan) -> String {
    let (from_ms, until_ms) = (span.from.as_millisecond(), span.until.as_millisecond());
    format!("{}|{}|{from_ms}|{until_ms}", span.staff, span.rank.code())
}

fn span_of(code: &str) -> Option<DutySpan> {
    let mut parts = code.split('|');
    let span = DutySpan {
        staff: parts.next()?.parse().ok()?,
        rank: parts.next()?.parse().ok()?,
        from: Timestamp::from_millisecond(parts.next()?.parse().ok()?).ok()?,
        until: Timestamp::from_millisecond(parts.next()?.parse().ok()?).ok()?,
    };
    parts.next().is_none().then_some(span)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;

    fn typed(fields: &[(&str, &str)]) -> Typed {
        Typed::new(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    fn somebody() -> StaffId {
        StaffId::mint(&Moment::new(Timestamp::UNIX_EPOCH, Chance::seeded(4)))
    }

    #[test]
    fn an_empty_form_says_what_is_missing_beside_each_field() {
        let fields = |faults: Vec<Fault>| faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>();
        let nothing = Typed::default();
        let weekly = ["weekly_days", "weekly_from", "weekly_until", "weekly_staff", "weekly_rank"];
        assert_eq!(fields(nothing.weekly().unwrap_err()), weekly);
        let dated = ["dated_from", "dated_until", "dated_staff", "dated_rank"];
        assert_eq!(fields(nothing.dated(&TimeZone::UTC).unwrap_err()), dated);
        assert_eq!(fields(nothing.swap().unwrap_err()), ["swap_given", "swap_back"]);
        assert_eq!(fields(nothing.holiday().unwrap_err()), ["holiday_day"]);
    }

    #[test]
    fn a_weekly_shift_is_entered_for_each_day_ticked() {
        let id = somebody().to_string();
        let shifts = typed(&[
            ("weekly_sat", "1"),
            ("weekly_sun", "1"),
            ("weekly_from", "22:00"),
            ("weekly_until", "06:30"),
            ("weekly_staff", &id),
            ("weekly_rank", "second"),
        ])
        .weekly()
        .unwrap();
        let days: Vec<Weekday> = shifts.iter().map(|shift| shift.weekday).collect();
        assert_eq!(days, [Weekday::Saturday, Weekday::Sunday]);
        assert_eq!((shifts[0].from_minute, shifts[0].until_minute), (1_320, 390));
    }

    #[test]
    fn hours_may_end_at_midnight_and_an_empty_day_is_closed() {
        let form = typed(&[("hours_mon_from", "08:00"), ("hours_mon_until", "00:00")]);
        let days = form.hours().unwrap();
        assert_eq!(days[0], DayHours::new(480, 1_440));
        assert!(days[1..].iter().all(Option::is_none));
        for wrong in [("08:00", ""), ("", "17:00"), ("17:00", "08:00"), ("8 o'clock", "17:00")] {
            let form = typed(&[("hours_tue_from", wrong.0), ("hours_tue_until", wrong.1)]);
            assert!(form.hours().unwrap_err()[0].words.starts_with("Tuesday:"), "{wrong:?}");
        }
    }

    #[test]
    fn a_duty_reads_back_from_its_code_and_a_person_alone_takes_over() {
        let span = DutySpan {
            staff: somebody(),
            rank: Rank::First,
            from: Timestamp::UNIX_EPOCH,
            until: Timestamp::from_second(3_600).unwrap(),
        };
        let (code, id) = (span_code(&span), somebody().to_string());
        let read = |back: &str| typed(&[("swap_given", &code), ("swap_back", back)]).swap().unwrap();
        assert_eq!(read(&code), (span, InReturn::Swap(span)));
        assert_eq!(read(&id), (span, InReturn::Nothing { taker: somebody() }));
        assert!(span_of("a|b|c|d").is_none() && span_of(&format!("{code}|5")).is_none());
    }
}
