//! The record, newest first: who did or saw what, found by person, kind, days and patient.

use askama::Template;
use axum::extract::Query;
use axum::extract::State;
use axum::response::Response;
use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::Fault;
use crate::care::envelope;
use crate::care::record;
use crate::care::record::Asked;
use crate::care::record::Found;
use crate::store::staff::StaffMember;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::record_words;
use crate::web::practice::record_words::KINDS;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

/// Lines on a page.
const LINES: i64 = 100;

/// What the address asks for; what is left out asks for nothing.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// A member's id, `program` or `patients`.
    person: String,
    kind: String,
    /// Days in the practice's calendar, both included.
    from: String,
    until: String,
    /// What tells a patient: the reference on their page, or the number of a check.
    patient: String,
    /// The page that follows the line of this number.
    before: String,
}

struct Line {
    sequence: i64,
    at: String,
    who: String,
    did: String,
    to_what: String,
    detail: String,
}

struct Choice {
    code: String,
    words: String,
    is_chosen: bool,
}

#[derive(Template)]
#[template(path = "practice/record.html")]
struct RecordPage {
    frame: Frame,
    lines: Vec<Line>,
    people: Vec<Choice>,
    kinds: Vec<Choice>,
    asking: Asking,
    /// Anything was asked for.
    is_narrowed: bool,
    /// Where the older lines are; empty: these are the last.
    older: String,
    /// Where the newest are; empty: these are.
    newest: String,
    faults: Faults,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let now = app.now();
    let frame = Frame::of(&app, &member, Part::Practice, "Record").await?;
    let mut faults = Vec::new();
    let asked = asked(&asking, &frame.practice.zone, &mut faults);
    let looks = envelope::names(&app.desk, &member.member).await?;
    let Found { lines, staff, fault } = record::find(&app.desk, &member.member, &asked, LINES, now).await?;
    faults.extend(fault);
    let last = lines.last().map(|line| line.sequence).filter(|_| lines.len() as i64 == LINES);
    let shown = RecordPage {
        lines: lines
            .into_iter()
            .map(|entry| Line {
                sequence: entry.sequence,
                at: time_words::clock_time(entry.at, now, &frame.practice.zone, STAFF_LANGUAGE),
                who: record_words::actor(&entry.actor, &staff, &looks),
                did: record_words::action(&entry.action),
                to_what: record_words::subject(&entry.subject, &staff),
                detail: record_words::detail(&entry.detail),
            })
            .collect(),
        people: people(&staff, &asking.person),
        kinds: KINDS
            .iter()
            .map(|kind| Choice {
                code: kind.code.to_owned(),
                words: kind.words.to_owned(),
                is_chosen: kind.code == asking.kind,
            })
            .collect(),
        older: last.map_or_else(String::new, |last| address(&asking, Some(last))),
        newest: if asking.before.is_empty() { String::new() } else { address(&asking, None) },
        is_narrowed: asking.is_narrowed(),
        asking,
        faults: Faults(faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

impl Asking {
    fn is_narrowed(&self) -> bool {
        [&self.person, &self.kind, &self.from, &self.until, &self.patient]
            .iter()
            .any(|typed| !typed.is_empty())
    }
}

fn asked(asking: &Asking, zone: &TimeZone, faults: &mut Vec<Fault>) -> Asked {
    let mut day = |field: &'static str, typed: &str| -> Option<Date> {
        let typed = typed.trim();
        if typed.is_empty() {
            return None;
        }
        let read = typed.parse().ok();
        if read.is_none() {
            faults.push(Fault::new(field, "Enter a day such as 2026-03-10."));
        }
        read
    };
    let (from, until) = (day("from", asking.from.as_str()), day("until", &asking.until));
    let begins = |day: Date| -> Option<Timestamp> {
        Some(day.at(0, 0, 0, 0).to_zoned_datetime(zone.clone()).ok()?.timestamp())
    };
    Asked {
        actor: match asking.person.as_str() {
            "" => String::new(),
            "program" => "program".to_owned(),
            id => format!("staff:{id}"),
        },
        beginnings: record_words::kind(&asking.kind).map_or_else(Vec::new, |kind| kind.beginnings.to_vec()),
        from: from.and_then(begins),
        until: until.and_then(|day| day.checked_add(1.day()).ok()).and_then(begins),
        patient: asking.patient.trim().to_owned(),
        before: asking.before.trim().parse().ok(),
    }
}

fn people(staff: &[StaffMember], chosen: &str) -> Vec<Choice> {
    let members = staff.iter().map(|member| {
        let gone = if member.active { "" } else { " (switched off)" };
        (member.id.to_string(), format!("{}{gone}", member.name))
    });
    let program = [("program".to_owned(), "the program".to_owned())];
    members.chain(program).map(|(code, words)| Choice { is_chosen: code == chosen, code, words }).collect()
}

/// The same question, from another line on.
fn address(asking: &Asking, before: Option<i64>) -> String {
    let before = before.map_or_else(String::new, |line| line.to_string());
    let fields = [
        ("person", asking.person.as_str()),
        ("kind", asking.kind.as_str()),
        ("from", asking.from.as_str()),
        ("until", asking.until.as_str()),
        ("patient", asking.patient.as_str()),
        ("before", before.as_str()),
    ];
    let typed: Vec<(&str, &str)> = fields.into_iter().filter(|(_, value)| !value.is_empty()).collect();
    format!("/practice/record?{}", serde_urlencoded::to_string(typed).unwrap_or_default())
}
