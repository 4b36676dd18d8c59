//! By when an answer is due: response targets by class, in minutes and in the practice's own clock.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;
use jiff::ZonedDateTime;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde::Serialize;

use crate::triage::urgency::Urgency;

/// How soon a person answers, by class. The built-in targets are proposals, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResponseTargets {
    pub go_now_minutes: u32,
    pub ring_now_minutes: u32,
    pub today_minutes: u32,
    /// Local hour, 0–23. A `Today` check received later than this is answered by the next morning.
    pub today_evening_from_hour: i8,
    /// Local hour, 0–23, of that morning.
    pub today_morning_by_hour: i8,
    pub tomorrow_minutes: u32,
    pub on_track_minutes: u32,
    /// Where `on_track_minutes` would end on a Saturday or Sunday.
    pub on_track_weekend_minutes: u32,
}

impl ResponseTargets {
    /// What is wrong with these targets; empty when they can stand.
    pub(super) fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        let in_order = [
            0,
            self.go_now_minutes,
            self.ring_now_minutes,
            self.today_minutes,
            self.tomorrow_minutes,
            self.on_track_minutes,
            self.on_track_weekend_minutes,
        ];
        if !in_order.is_sorted_by(|sooner, later| sooner < later) {
            faults.push("targets: a more urgent class must be answered sooner".to_owned());
        }
        let two_weeks = 14 * 24 * 60;
        if self.on_track_weekend_minutes > two_weeks {
            faults.push("targets: nothing waits longer than two weeks".to_owned());
        }
        let (evening, morning) = (self.today_evening_from_hour, self.today_morning_by_hour);
        if !(0..=23).contains(&evening) || !(0..=23).contains(&morning) || morning >= evening {
            faults.push("targets: evening and morning are hours from 0 to 23, morning first".to_owned());
        }
        faults
    }

    /// Minutes from receipt to the answer on an ordinary weekday in office hours.
    pub fn due_minutes(&self, urgency: Urgency) -> u32 {
        match urgency {
            Urgency::GoNow => self.go_now_minutes,
            Urgency::RingNow => self.ring_now_minutes,
            Urgency::Today => self.today_minutes,
            Urgency::Tomorrow => self.tomorrow_minutes,
            Urgency::OnTrack => self.on_track_minutes,
        }
    }

    /// When the answer to a check received at `received` is due, in the practice's time zone.
    pub fn due(&self, urgency: Urgency, received: Timestamp, zone: &TimeZone) -> Timestamp {
        let plainly = later(received, self.due_minutes(urgency));
        match urgency {
            Urgency::GoNow | Urgency::RingNow | Urgency::Tomorrow => plainly,
            Urgency::Today => self.morning_after(received, zone).unwrap_or(plainly),
            Urgency::OnTrack => match plainly.to_zoned_datetime(zone.clone()).weekday() {
                Weekday::Saturday | Weekday::Sunday => later(received, self.on_track_weekend_minutes),
                Weekday::Monday
                | Weekday::Tuesday
                | Weekday::Wednesday
                | Weekday::Thursday
                | Weekday::Friday => plainly,
            },
        }
    }

    /// The morning by which a `Today` check received in the night is answered; `None` by day. The night ends where
    /// the plain target reaches the same morning hour, so that a later check is never due before an earlier one.
    fn morning_after(&self, received: Timestamp, zone: &TimeZone) -> Option<Timestamp> {
        let local = received.to_zoned_datetime(zone.clone());
        let on_day = |days: i64, hour: i8| -> Option<ZonedDateTime> {
            let date = local.date().checked_add(days.days()).ok()?;
            date.at(hour, 0, 0, 0).to_zoned_datetime(zone.clone()).ok()
        };
        let evening = on_day(0, self.today_evening_from_hour)?;
        let this_morning = on_day(0, self.today_morning_by_hour)?;
        if local > evening {
            Some(on_day(1, self.today_morning_by_hour)?.timestamp())
        } else if later(received, self.today_minutes) < this_morning.timestamp() {
            Some(this_morning.timestamp())
        } else {
            None
        }
    }
}

fn later(from: Timestamp, minutes: u32) -> Timestamp {
    from.saturating_add(SignedDuration::from_mins(i64::from(minutes))).unwrap_or(from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Protocol;

    /// New York, at UTC−5 in January.
    fn due(urgency: Urgency, received: &str) -> String {
        let zone = TimeZone::get("America/New_York").unwrap();
        let targets = Protocol::built_in().targets();
        targets.due(urgency, received.parse().unwrap(), &zone).to_string()
    }

    #[test]
    fn each_class_has_its_own_limit() {
        // Tuesday 10:00 in New York.
        let received = "2026-01-13T15:00:00Z";
        assert_eq!(due(Urgency::GoNow, received), "2026-01-13T15:10:00Z");
        assert_eq!(due(Urgency::RingNow, received), "2026-01-13T16:00:00Z");
        assert_eq!(due(Urgency::Today, received), "2026-01-13T19:00:00Z");
        assert_eq!(due(Urgency::Tomorrow, received), "2026-01-14T15:00:00Z");
        assert_eq!(due(Urgency::OnTrack, received), "2026-01-15T15:00:00Z");
    }

    #[test]
    fn a_check_for_today_received_after_eight_in_the_evening_is_answered_by_nine_next_morning() {
        assert_eq!(due(Urgency::Today, "2026-01-14T01:00:00Z"), "2026-01-14T05:00:00Z");
        assert_eq!(due(Urgency::Today, "2026-01-14T01:00:01Z"), "2026-01-14T14:00:00Z");
        assert_eq!(due(Urgency::Today, "2026-01-14T07:00:00Z"), "2026-01-14T14:00:00Z");
        assert_eq!(due(Urgency::Today, "2026-01-14T09:59:00Z"), "2026-01-14T14:00:00Z");
        assert_eq!(due(Urgency::Today, "2026-01-14T10:01:00Z"), "2026-01-14T14:01:00Z");
    }

    #[test]
    fn a_check_on_track_over_a_weekend_may_take_a_day_longer() {
        // Friday, then Wednesday and Saturday.
        assert_eq!(due(Urgency::OnTrack, "2026-01-16T15:00:00Z"), "2026-01-19T15:00:00Z");
        assert_eq!(due(Urgency::OnTrack, "2026-01-14T15:00:00Z"), "2026-01-16T15:00:00Z");
        assert_eq!(due(Urgency::OnTrack, "2026-01-17T15:00:00Z"), "2026-01-19T15:00:00Z");
    }

    #[test]
    fn nine_o_clock_stays_nine_o_clock_when_the_clocks_change() {
        // New York went to summer time on 8 March 2026 (IANA time zone database).
        assert_eq!(due(Urgency::Today, "2026-03-08T02:00:00Z"), "2026-03-08T13:00:00Z");
    }

    #[test]
    fn no_moment_is_too_early_or_too_late() {
        let targets = Protocol::built_in().targets();
        for urgency in Urgency::ALL {
            for received in [Timestamp::MIN, Timestamp::MAX] {
                targets.due(*urgency, received, &TimeZone::UTC);
            }
        }
    }
}
