//! Prints calendar files for the checks by other programs: `print_calendar plan ZONE` a plan around a change of clocks,
//! `print_calendar text` events whose texts are read as JSON from standard input.

use std::io::Read;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use closewatch::care::calendar::Dates;
use closewatch::ids::Chance;
use closewatch::ids::Moment;
use closewatch::ids::PlanStepId;
use closewatch::ids::WoundId;
use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::Side;
use closewatch::plan::Site;
use closewatch::plan::care_plan;
use closewatch::plan::ical;
use closewatch::plan::ical::Event;
use closewatch::plan::ical::EventState;
use closewatch::store::plan::KeptStep;
use closewatch::web::calendar_text;
use closewatch::words::Language;

fn main() {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    let printed = match asked.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["plan", zone, operated] => {
            plan(zone, operated.parse().expect("a time such as 2026-03-05T18:00:00Z"))
        }
        ["text"] => texts(),
        _ => panic!("print_calendar plan ZONE TIME | print_calendar text"),
    };
    print!("{printed}");
}

/// The plan of somebody who was operated and packed then; one step moved, one cancelled.
fn plan(zone: &str, operated: Timestamp) -> String {
    let zone = TimeZone::get(zone).expect("a zone of the IANA database");
    let moment = Moment::new(operated, Chance::seeded(5));
    let operation = Operation {
        site: Site::Thigh,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated,
        size: None,
        packing: Some(Packing { pieces: 1, length_cm: None, placed: operated }),
        pen_line: None,
    };
    let wound = WoundId::mint(&moment);
    let changed = operated + SignedDuration::from_hours(1);
    let keep = |(place, step)| KeptStep {
        id: PlanStepId::mint(&moment),
        wound,
        step,
        done: None,
        cancelled: (place == 5).then_some(changed),
        sequence: i64::from(place == 5),
        changed: (place == 5).then_some(changed),
    };
    let steps = care_plan(&operation, &zone).into_iter().enumerate().map(keep).collect();
    calendar_text(&Dates { language: Language::Spanish, steps, made: operated })
}

/// One event for each text given.
fn texts() -> String {
    let mut asked = String::new();
    std::io::stdin().read_to_string(&mut asked).expect("texts on standard input");
    let texts: Vec<String> = serde_json::from_str(&asked).expect("a JSON list of texts");
    let start: Timestamp = "2026-03-05T18:00:00Z".parse().expect("a fixed time");
    let events: Vec<Event> = (0..)
        .zip(&texts)
        .map(|(number, text)| Event {
            uid: format!("{number}@closewatch"),
            sequence: number,
            stamp: start,
            start,
            end: start + SignedDuration::from_mins(30),
            summary: text.clone(),
            description: text.clone(),
            state: EventState::Confirmed,
        })
        .collect();
    ical::calendar("Closewatch", "en", &events)
}
