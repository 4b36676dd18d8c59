//! The practice at a glance.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::protocols;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;

struct Target {
    class: Class,
    within: String,
}

#[derive(Template)]
#[template(path = "practice/overview.html")]
struct OverviewPage {
    frame: Frame,
    zone: String,
    hours: String,
    paper: &'static str,
    protocol: String,
    rules: usize,
    targets: Vec<Target>,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let frame = Frame::of(&app, &member, Part::Practice, "Practice").await?;
    let practice = &frame.practice;
    let protocol = protocols::shelf(&app.desk, &member.member).await?.in_force;
    let clock = |minute: i64| format!("{}:{:02}", minute / 60, minute % 60);
    let shown = OverviewPage {
        zone: practice.zone.iana_name().unwrap_or("not named").to_owned(),
        hours: format!(
            "Monday to Friday, {} to {}",
            clock(practice.opens_minute),
            clock(practice.closes_minute)
        ),
        paper: match practice.paper {
            crate::sheet::Paper::A4 => "A4",
            crate::sheet::Paper::Letter => "Letter",
        },
        protocol: protocol.version().to_owned(),
        rules: protocol.rules().len(),
        targets: Urgency::ALL
            .iter()
            .rev()
            .map(|urgency| Target {
                class: class(*urgency),
                within: within(protocol.targets().due_minutes(*urgency)),
            })
            .collect(),
        frame,
    };
    page(StatusCode::OK, &shown)
}

fn within(minutes: u32) -> String {
    match minutes {
        ..120 => format!("{minutes} minutes"),
        _ => format!("{} hours", minutes / 60),
    }
}
