//! The downtime list: whatever is open in a practice, with whom to ring, as plain text that can be read and printed where
//! there is no server.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::alarms::of_practice;
use crate::care::alarms::of_practice::Actions;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::plan::day_number;
use crate::store::Conn;
use crate::store::alarms::AlarmKind;
use crate::store::callbacks;
use crate::store::checks;
use crate::store::checks::QueueFilter;
use crate::store::late_knocks;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices::Practice;
use crate::store::silences;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::SilenceKind;

/// Checks on one list. A practice with more waiting reads the first ones first.
const MOST_CHECKS: i64 = 1_000;

/// One thing that is open.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Item {
    /// By when somebody is to act.
    due: Timestamp,
    /// Such as "Go now".
    how_soon: String,
    patient: Patient,
    /// Day since the operation, and what was done.
    about: String,
    /// What it is, a line each.
    says: Vec<String>,
}

/// Everything open in this practice at `now`.
pub async fn text(desk: &Desk, practice: &Practice, now: Timestamp) -> Done<String> {
    let mut conn = desk.db.read().await?;
    let parts = [
        ("CHECKS THAT WAIT FOR A SURGEON", checks_waiting(&mut conn, practice, now).await?),
        ("CALLS TO MAKE", calls(&mut conn, practice, now).await?),
        ("SILENT: SOMETHING WAS DUE AND DID NOT COME", silent(&mut conn, practice, now).await?),
        ("KNOCKS ON CLOSED LINKS", knocks(&mut conn, practice, now).await?),
    ];
    Ok(laid_out(practice, &parts, now))
}

/// Notes whether this practice's list could be written: while it cannot, that is an alarm, for what is printed in a need would be old.
pub async fn note_written(desk: &Desk, practice: PracticeId, is_written: bool, moment: &Moment) -> Done<()> {
    let actions = Actions { begins: "list.unwritten", ends: "list.written" };
    of_practice::set(desk, practice, AlarmKind::ListNotWritten, !is_written, actions, "", moment).await
}

async fn person(
    conn: &mut Conn,
    practice: &Practice,
    wound: &Wound,
    now: Timestamp,
) -> Done<(Patient, String)> {
    let patient = patients::find(conn, practice.id, wound.patient).await?.ok_or(CareError::NotFound)?;
    let day = day_number(wound.operation.operated, now, &practice.zone);
    Ok((patient, format!("day {day} after: {}", wound.operation.procedure)))
}

async fn checks_waiting(conn: &mut Conn, practice: &Practice, now: Timestamp) -> Done<Vec<Item>> {
    let mut items = Vec::new();
    for row in checks::waiting(conn, practice.id, &QueueFilter::default(), now, MOST_CHECKS).await? {
        let wound = wounds::find(conn, practice.id, row.wound).await?.ok_or(CareError::NotFound)?;
        let (patient, about) = person(conn, practice, &wound, now).await?;
        items.push(Item {
            due: row.due,
            how_soon: row.assessment.urgency.staff_words().to_owned(),
            patient,
            about,
            says: row.assessment.reasons.iter().map(|reason| reason.sentence.clone()).collect(),
        });
    }
    Ok(items)
}

async fn calls(conn: &mut Conn, practice: &Practice, now: Timestamp) -> Done<Vec<Item>> {
    let mut items = Vec::new();
    for call in callbacks::open(conn, practice.id).await? {
        let wound = wounds::find(conn, practice.id, call.wound).await?.ok_or(CareError::NotFound)?;
        let (patient, about) = person(conn, practice, &wound, now).await?;
        let asks = call.ask.lines().map(str::to_owned);
        items.push(Item {
            due: call.due,
            how_soon: call.urgency.staff_words().to_owned(),
            patient,
            about,
            says: std::iter::once(call.reason.clone()).chain(asks).filter(|line| !line.is_empty()).collect(),
        });
    }
    Ok(items)
}

async fn silent(conn: &mut Conn, practice: &Practice, now: Timestamp) -> Done<Vec<Item>> {
    let mut items = Vec::new();
    for silence in silences::open(conn, practice.id).await? {
        let wound = wounds::find(conn, practice.id, silence.wound).await?.ok_or(CareError::NotFound)?;
        let (patient, about) = person(conn, practice, &wound, now).await?;
        let missing = match silence.kind {
            SilenceKind::Arrival => "Word that they arrived at the emergency department",
            SilenceKind::Strip => "Word that the strip is out",
            SilenceKind::ComeIn => "Whether they come in as asked",
            SilenceKind::Visit => "A visit nobody noted",
            SilenceKind::Reply => "That they read an answer",
            SilenceKind::Check => "A wound check",
            SilenceKind::Culture => "The laboratory's answer",
        };
        items.push(Item {
            due: silence.by,
            how_soon: String::new(),
            patient,
            about,
            says: vec![missing.to_owned()],
        });
    }
    Ok(items)
}

async fn knocks(conn: &mut Conn, practice: &Practice, now: Timestamp) -> Done<Vec<Item>> {
    let mut items = Vec::new();
    for knock in late_knocks::waiting(conn, practice.id).await? {
        let wound = wounds::find(conn, practice.id, knock.wound).await?.ok_or(CareError::NotFound)?;
        let (patient, about) = person(conn, practice, &wound, now).await?;
        let says = knock.words.lines().map(str::to_owned).collect();
        items.push(Item { due: knock.due, how_soon: String::new(), patient, about, says });
    }
    Ok(items)
}

fn laid_out(practice: &Practice, parts: &[(&str, Vec<Item>)], now: Timestamp) -> String {
    let clock = |at: Timestamp| clock(at, &practice.zone);
    let mut out = format!(
        "{}\nDOWNTIME LIST as it stood {}. What came later is not on it.\n\
         A sorting aid, never a diagnosis: whoever rings asks how the patient is. In an emergency: {}.\n",
        practice.name,
        clock(now),
        practice.emergency_number
    );
    for (title, items) in parts {
        let _ = write!(out, "\n{title}: {}\n", items.len());
        for (number, item) in (1..).zip(items) {
            let how_soon =
                if item.how_soon.is_empty() { String::new() } else { format!("{}, ", item.how_soon) };
            let patient = &item.patient;
            let _ = write!(
                out,
                "\n[ ] {number}. {}, born {}, reads {}\n    {how_soon}by {}; {}\n    Ring {}",
                patient.name,
                patient.born,
                patient.language.own_name(),
                clock(item.due),
                item.about,
                patient.phone
            );
            if let Some(phone) = &patient.helper_phone {
                let _ = write!(
                    out,
                    ", or {} {phone}",
                    patient.helper_name.as_deref().unwrap_or("the second contact")
                );
            }
            out.push('\n');
            for line in &item.says {
                let _ = writeln!(out, "    - {line}");
            }
        }
    }
    out
}

fn clock(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone()).strftime("%a %Y-%m-%d %H:%M").to_string()
}
