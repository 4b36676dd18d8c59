//! Whether somebody is there: a page that answers in practice hours, a sign-in on a working day, nothing that waits for
//! ever, a drill every week. Each that is not so is an alarm until it is.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::Desk;
use crate::care::Done;
use crate::care::backup::noted::Backups;
use crate::care::envelope;
use crate::care::gates::guesses;
use crate::care::room;
use crate::duty::Hours;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::attendance;
use crate::store::canary;
use crate::store::drills;
use crate::store::drills::Drill;
use crate::store::duty;
use crate::store::practices;
use crate::store::staff::StaffMember;

/// In practice hours some page answers at least this often (M3).
pub const PAGE_SILENT: SignedDuration = SignedDuration::from_mins(10);
/// After opening, somebody has this long to sign in before its absence is an alarm (ours).
pub const SIGNED_IN_WITHIN: SignedDuration = SignedDuration::from_mins(30);
/// A week and a day (M6).
pub const DRILL_MISSING: SignedDuration = SignedDuration::from_hours(8 * 24);
/// A page answers with the beat it heard; an older beat proves nothing of now.
const BEAT_FRESH: SignedDuration = SignedDuration::from_secs(60);
/// Drills looked at for the last one that was answered.
const DRILLS_LOOKED_AT: i64 = 20;

/// What is known of who is there.
#[derive(Clone, Debug)]
pub struct Attendance {
    pub hours: Hours,
    /// When a page last answered; before the first, since when there is a practice.
    pub last_beat: Timestamp,
    /// As for pages.
    pub last_sign_in: Timestamp,
    /// When the check that waits longest came in; `None`: nobody waits.
    pub oldest: Option<Timestamp>,
    /// 1–168.
    pub queue_oldest_hours: i64,
    /// When the last answered drill began; before the first, since when there is a practice.
    pub last_drill: Timestamp,
    pub backups: Backups,
}

impl Attendance {
    pub(in crate::care) async fn read(
        conn: &mut Conn,
        practice: PracticeId,
        now: Timestamp,
    ) -> Done<Option<Attendance>> {
        let Some(settings) = attendance::settings(conn, practice).await? else { return Ok(None) };
        let beats = attendance::beats(conn, practice).await?;
        let drills = drills::newest(conn, practice, DRILLS_LOOKED_AT).await?;
        let answered = drills.iter().find(|drill| drill.answered.is_some());
        Ok(Some(Attendance {
            hours: duty::hours(conn, practice).await?,
            last_beat: beats.first().map_or(settings.since, |(_, heard)| *heard),
            last_sign_in: attendance::last_sign_in(conn, practice).await?.unwrap_or(settings.since),
            oldest: attendance::oldest_waiting(conn, practice, now)
                .await?
                .iter()
                .map(|(_, oldest)| *oldest)
                .min(),
            queue_oldest_hours: settings.queue_oldest_hours,
            last_drill: answered.map_or(settings.since, |drill: &Drill| drill.begun),
            backups: Backups::read(conn).await?,
        }))
    }

    /// Whether what this kind of alarm says is so at `now`. `None`: it says something else.
    pub fn is(&self, kind: AlarmKind, now: Timestamp) -> Option<bool> {
        match kind {
            AlarmKind::NoPageOpen => Some(
                self.has_been_open(PAGE_SILENT, now) && now.duration_since(self.last_beat) >= PAGE_SILENT,
            ),
            AlarmKind::NobodySignedIn => Some(
                self.has_been_open(SIGNED_IN_WITHIN, now)
                    && self.last_sign_in < midnight_before(now, &self.hours.zone),
            ),
            AlarmKind::QueueOld => Some(self.oldest.is_some_and(|oldest| {
                now.duration_since(oldest) > SignedDuration::from_hours(self.queue_oldest_hours)
            })),
            AlarmKind::DrillMissing => Some(now.duration_since(self.last_drill) >= DRILL_MISSING),
            AlarmKind::BackupOld => Some(self.backups.is_old(now)),
            AlarmKind::RestoreUnproved => Some(self.backups.is_unproved(now)),
            AlarmKind::Unopened
            | AlarmKind::Overdue
            | AlarmKind::NobodyToTell
            | AlarmKind::SurgeonAsked
            | AlarmKind::LetterFailed
            | AlarmKind::JobFailed
            | AlarmKind::DiskFilling
            | AlarmKind::ListNotWritten
            | AlarmKind::BooksDamaged
            | AlarmKind::PhotoDamaged
            | AlarmKind::TextUnreadable
            | AlarmKind::PasswordGuessed
            | AlarmKind::LinksGuessed
            | AlarmKind::LinkFloods
            | AlarmKind::EnvelopeOpened
            | AlarmKind::EnvelopeGuessed
            | AlarmKind::ExportAsked
            | AlarmKind::ExportTaken
            | AlarmKind::ClockSetBack => None,
        }
    }

    fn has_been_open(&self, long: SignedDuration, now: Timestamp) -> bool {
        self.hours.is_open(now) && now.checked_sub(long).is_ok_and(|then| self.hours.is_open(then))
    }
}

fn midnight_before(now: Timestamp, zone: &TimeZone) -> Timestamp {
    let today = now.to_zoned_datetime(zone.clone());
    today.start_of_day().map_or(now, |midnight| midnight.timestamp())
}

/// Raises what is so, and ends what is no longer. The canary's practice has nobody to be there.
pub(in crate::care) async fn see_to(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let attendance = {
        let mut conn = desk.db.read().await?;
        if canary::practice(&mut conn).await? == Some(practice) {
            return Ok(());
        }
        if let Some(practice) = practices::find(&mut conn, practice).await? {
            desk.vitals.remember(&practice);
        }
        Attendance::read(&mut conn, practice, moment.now).await?
    };
    let Some(attendance) = attendance else { return Ok(()) };
    room::see_to(desk, practice, moment).await?;
    guesses::see_to(desk, practice, moment).await?;
    envelope::see_to_guesses(desk, practice, moment).await?;
    let about = format!("practice:{practice}");
    let mut changed = false;
    let mut tx = desk.db.write().await?;
    for kind in AlarmKind::ALL.iter().copied() {
        changed |= match attendance.is(kind, moment.now) {
            Some(true) => alarms::raise(&mut tx, practice, kind, &about, moment).await?,
            Some(false) => alarms::end(&mut tx, practice, kind, &about, moment.now).await?,
            None => false,
        };
    }
    tx.commit().await?;
    if changed {
        desk.tell(practice);
    }
    Ok(())
}

/// Whether a check or a call waits past its due time, with nobody at it.
pub(in crate::care) async fn is_anything_late(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Done<bool> {
    Ok(attendance::any_check_late(conn, practice, now).await?
        || attendance::any_call_late(conn, practice, now).await?)
}

/// A page answers the beat it heard at `heard`. One that is too old, or of a time to come, is not believed.
pub async fn note_beat(desk: &Desk, member: &StaffMember, heard: Timestamp, now: Timestamp) -> Done<()> {
    if now.duration_since(heard).abs() > BEAT_FRESH {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    attendance::note_beat(&mut tx, member.practice, member.id, now).await?;
    Ok(tx.commit().await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::duty::DayHours;
    use jiff::civil::date;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    /// Monday to Friday 8 to 18 in New York, on Tuesday 10 March 2026, four hours behind.
    fn quiet() -> Attendance {
        let zone = TimeZone::get("America/New_York").unwrap();
        Attendance {
            hours: Hours::on_weekdays(zone, DayHours::new(480, 1_080)),
            last_beat: at("2026-03-09T15:00:00Z"),
            last_sign_in: at("2026-03-09T15:00:00Z"),
            oldest: None,
            queue_oldest_hours: 72,
            last_drill: at("2026-03-09T15:00:00Z"),
            backups: Backups::default(),
        }
    }

    fn is(attendance: &Attendance, kind: AlarmKind, now: &str) -> bool {
        attendance.is(kind, at(now)).unwrap()
    }

    #[test]
    fn no_page_is_missed_before_ten_minutes_of_practice_hours() {
        let nobody = quiet();
        assert!(!is(&nobody, AlarmKind::NoPageOpen, "2026-03-10T12:09:59Z"));
        assert!(is(&nobody, AlarmKind::NoPageOpen, "2026-03-10T12:10:00Z"));
        assert!(is(&nobody, AlarmKind::NoPageOpen, "2026-03-10T21:59:59Z"));
        assert!(!is(&nobody, AlarmKind::NoPageOpen, "2026-03-10T22:00:00Z"), "closed at six");
        assert!(!is(&nobody, AlarmKind::NoPageOpen, "2026-03-14T15:00:00Z"), "a Saturday");
    }

    #[test]
    fn a_page_is_missed_ten_minutes_after_its_last_beat_and_not_before() {
        let seen = Attendance { last_beat: at("2026-03-10T15:00:00Z"), ..quiet() };
        assert!(!is(&seen, AlarmKind::NoPageOpen, "2026-03-10T15:09:59Z"));
        assert!(is(&seen, AlarmKind::NoPageOpen, "2026-03-10T15:10:00Z"));
    }

    #[test]
    fn on_a_holiday_nobody_is_missed() {
        let mut away = quiet();
        away.hours.holidays.insert(date(2026, 3, 10), "Staff day".to_owned());
        assert!(!is(&away, AlarmKind::NoPageOpen, "2026-03-10T15:00:00Z"));
        assert!(!is(&away, AlarmKind::NobodySignedIn, "2026-03-10T15:00:00Z"));
    }

    #[test]
    fn nobody_signed_in_counts_from_midnight_on_the_practices_clock_and_half_an_hour_after_opening() {
        let yesterday = Attendance { last_sign_in: at("2026-03-10T03:59:59Z"), ..quiet() };
        assert!(!is(&yesterday, AlarmKind::NobodySignedIn, "2026-03-10T12:29:59Z"));
        assert!(is(&yesterday, AlarmKind::NobodySignedIn, "2026-03-10T12:30:00Z"));
        let after_midnight = Attendance { last_sign_in: at("2026-03-10T04:00:00Z"), ..quiet() };
        assert!(!is(&after_midnight, AlarmKind::NobodySignedIn, "2026-03-10T12:30:00Z"));
    }

    #[test]
    fn the_oldest_may_wait_as_long_as_the_practice_says() {
        let waits = Attendance { oldest: Some(at("2026-03-07T15:00:00Z")), ..quiet() };
        assert!(!is(&waits, AlarmKind::QueueOld, "2026-03-10T15:00:00Z"));
        assert!(is(&waits, AlarmKind::QueueOld, "2026-03-10T15:00:01Z"));
        let strict = Attendance { queue_oldest_hours: 1, ..waits };
        assert!(!is(&strict, AlarmKind::QueueOld, "2026-03-07T16:00:00Z"));
        assert!(is(&strict, AlarmKind::QueueOld, "2026-03-07T16:00:01Z"));
        assert!(!is(&quiet(), AlarmKind::QueueOld, "2026-03-10T15:00:00Z"), "nobody waits");
    }

    #[test]
    fn a_drill_is_missed_after_eight_days() {
        assert!(!is(&quiet(), AlarmKind::DrillMissing, "2026-03-17T14:59:59Z"));
        assert!(is(&quiet(), AlarmKind::DrillMissing, "2026-03-17T15:00:00Z"));
    }
}
