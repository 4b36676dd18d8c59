//! An alarm is written about at once, and again and again until a person takes it.

use std::collections::BTreeSet;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::ladder;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::alarms;
use crate::store::alarms::Alarm;
use crate::store::alarms::AlarmKind;
use crate::store::canary;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::staff;

/// Between two letters about one alarm (ours).
pub const REPEAT: SignedDuration = SignedDuration::from_mins(15);

/// Queues a notice about every alarm that nobody has taken and that is due to be told.
pub(in crate::care) async fn tell(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let due: Vec<Alarm> = {
        let mut conn = desk.db.read().await?;
        if canary::practice(&mut conn).await? == Some(practice) {
            return Ok(());
        }
        let open = alarms::open(&mut conn, practice).await?;
        open.into_iter().filter(|alarm| is_due(alarm, moment.now)).collect()
    };
    if due.is_empty() {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    for alarm in due {
        for reader in readers(&mut tx, &alarm, moment.now).await? {
            let about = format!("alarm:{} time:{}", alarm.id, alarm.told + 1);
            notices::enqueue(&mut tx, practice, NoticeKind::Alarm, Recipient::Staff(reader), &about, moment)
                .await?;
        }
        alarms::note_told(&mut tx, practice, alarm.id, moment.now).await?;
    }
    Ok(tx.commit().await?)
}

fn is_due(alarm: &Alarm, now: Timestamp) -> bool {
    let is_time = |told| is_told_again(alarm.kind) && now.duration_since(told) >= REPEAT;
    alarm.taken_by.is_none() && alarm.told_last.is_none_or(is_time)
}

/// Whether one letter is not enough. Whoever sends a flood could otherwise send letters, too; it stays on the list of alarms, and
/// no patient waits for it.
fn is_told_again(kind: AlarmKind) -> bool {
    match kind {
        AlarmKind::LinksGuessed
        | AlarmKind::LinkFloods
        | AlarmKind::EnvelopeGuessed
        | AlarmKind::ExportAsked
        | AlarmKind::ExportTaken => false,
        AlarmKind::NoPageOpen
        | AlarmKind::NobodySignedIn
        | AlarmKind::QueueOld
        | AlarmKind::SurgeonAsked
        | AlarmKind::Unopened
        | AlarmKind::Overdue
        | AlarmKind::NobodyToTell
        | AlarmKind::LetterFailed
        | AlarmKind::JobFailed
        | AlarmKind::ClockSetBack
        | AlarmKind::DiskFilling
        | AlarmKind::ListNotWritten
        | AlarmKind::BooksDamaged
        | AlarmKind::PhotoDamaged
        | AlarmKind::TextUnreadable
        | AlarmKind::PasswordGuessed
        | AlarmKind::EnvelopeOpened
        | AlarmKind::BackupOld
        | AlarmKind::RestoreUnproved
        | AlarmKind::DrillMissing => true,
    }
}

/// Whom an alarm goes to: those who are reached somewhere. What a ladder tells the people on duty already goes to the leads;
/// that nobody is there goes to whoever is on duty, and from the second letter on to the leads as well.
async fn readers(conn: &mut Conn, alarm: &Alarm, now: Timestamp) -> Done<BTreeSet<StaffId>> {
    let everyone = staff::of_practice(conn, alarm.practice).await?;
    let active: Vec<_> = everyone.into_iter().filter(|member| member.active).collect();
    let leads = active.iter().filter(|member| member.roles.lead).map(|member| member.id);
    let told: BTreeSet<StaffId> = match alarm.kind {
        AlarmKind::NoPageOpen | AlarmKind::NobodySignedIn | AlarmKind::QueueOld => {
            let mut told: BTreeSet<StaffId> =
                ladder::first_on_duty(conn, alarm.practice, &active, now).await?.into_iter().collect();
            if told.is_empty() || alarm.told > 0 {
                told.extend(leads);
            }
            told
        }
        // Whoever operated was written to at once; what stays unanswered goes to every surgeon.
        AlarmKind::SurgeonAsked => {
            active.iter().filter(|member| member.roles.surgeon).map(|member| member.id).collect()
        }
        // Whoever it was, somebody on staff knows them or does not; whoever knows of no reason for it asks.
        AlarmKind::EnvelopeOpened | AlarmKind::ExportAsked | AlarmKind::ExportTaken => {
            active.iter().map(|member| member.id).collect()
        }
        AlarmKind::Unopened
        | AlarmKind::Overdue
        | AlarmKind::NobodyToTell
        | AlarmKind::LetterFailed
        | AlarmKind::JobFailed
        | AlarmKind::ClockSetBack
        | AlarmKind::DiskFilling
        | AlarmKind::ListNotWritten
        | AlarmKind::BooksDamaged
        | AlarmKind::PhotoDamaged
        | AlarmKind::TextUnreadable
        | AlarmKind::PasswordGuessed
        | AlarmKind::LinksGuessed
        | AlarmKind::EnvelopeGuessed
        | AlarmKind::LinkFloods
        | AlarmKind::BackupOld
        | AlarmKind::RestoreUnproved
        | AlarmKind::DrillMissing => leads.collect(),
    };
    let mut reached = BTreeSet::new();
    for person in told {
        if !addresses::of_staff(conn, alarm.practice, person).await?.is_empty() {
            reached.insert(person);
        }
    }
    Ok(reached)
}
