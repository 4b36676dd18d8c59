//! Quiet hours: what can wait is not sent at night.

use jiff::Timestamp;
use jiff::civil::Time;
use jiff::tz::TimeZone;

use crate::care::Done;
use crate::care::late_knock;
use crate::guards;
use crate::guards::Guard;
use crate::store::Conn;
use crate::store::callbacks;
use crate::store::late_knocks;
use crate::store::notices::Notice;
use crate::store::notices::NoticeKind;
use crate::triage::ladder_of;

/// What can wait is not sent between these hours of the practice's clock (common practice, no source).
const QUIET_FROM: Time = Time::constant(21, 0, 0, 0);
const QUIET_UNTIL: Time = Time::constant(8, 0, 0, 0);

/// Whether it can wait for the morning.
pub async fn can_wait(conn: &mut Conn, notice: &Notice) -> Done<bool> {
    if !guards::stands(Guard::UrgentAtNight) {
        return Ok(true);
    }
    Ok(match notice.kind {
        NoticeKind::CallToMake => {
            let id = notice.about.strip_prefix("callback:").and_then(|id| id.parse().ok());
            let call = match id {
                Some(id) => callbacks::find(conn, notice.practice, id).await?,
                None => None,
            };
            call.is_some_and(|call| ladder_of(call.urgency).is_none())
        }
        NoticeKind::LateKnock => {
            let id = notice.about.strip_prefix("late_knock:").and_then(|id| id.parse().ok());
            let knock = match id {
                Some(id) => late_knocks::find(conn, notice.practice, id).await?,
                None => None,
            };
            knock.is_some_and(|knock| ladder_of(late_knock::class_of_knock(&knock)).is_none())
        }
        NoticeKind::WrongPins
        | NoticeKind::LadderTimes
        | NoticeKind::ThingsWillGo
        | NoticeKind::StepDue
        | NoticeKind::NotHeard
        | NoticeKind::ReplyUnread
        | NoticeKind::ComeInUnanswered => true,
        NoticeKind::AnswerReady
        | NoticeKind::TestLetter
        | NoticeKind::UrgentCheck
        | NoticeKind::UrgentCheckAgain
        | NoticeKind::UrgentCheckByVoice
        | NoticeKind::NotReached
        | NoticeKind::CallMissed
        // It may be about tonight.
        | NoticeKind::DutyChanged
        | NoticeKind::Alarm => false,
    })
}

/// The end of the quiet hours; `None`: it is day.
pub(in crate::care) fn quiet_until(zone: &TimeZone, now: Timestamp) -> Option<Timestamp> {
    let local = now.to_zoned_datetime(zone.clone());
    let day = match local.time() {
        time if time < QUIET_UNTIL => local.date(),
        time if time >= QUIET_FROM => local.date().tomorrow().ok()?,
        _ => return None,
    };
    day.to_datetime(QUIET_UNTIL).to_zoned_datetime(zone.clone()).ok().map(|morning| morning.timestamp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quiet(now: &str) -> Option<String> {
        let zone = TimeZone::get("America/New_York").unwrap();
        quiet_until(&zone, now.parse().unwrap()).map(|morning| morning.to_string())
    }

    #[test]
    fn quiet_hours_are_from_nine_in_the_evening_until_eight_in_the_morning() {
        // New York is at UTC−5 in January.
        assert_eq!(quiet("2026-01-14T01:59:59Z"), None);
        assert_eq!(quiet("2026-01-14T02:00:00Z").unwrap(), "2026-01-14T13:00:00Z");
        assert_eq!(quiet("2026-01-14T12:59:59Z").unwrap(), "2026-01-14T13:00:00Z");
        assert_eq!(quiet("2026-01-14T13:00:00Z"), None);
    }

    #[test]
    fn eight_stays_eight_when_the_clocks_change_in_the_night() {
        // New York went to summer time on 8 March 2026 (IANA time zone database).
        assert_eq!(quiet("2026-03-08T03:00:00Z").unwrap(), "2026-03-08T12:00:00Z");
    }
}
