//! The practice at a glance, and how its photos are measured.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::measuring;
use crate::care::measuring::Setting;
use crate::care::protocols;
use crate::store::practices::Measuring;
use crate::store::practices::MeasuringSettings;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::staff_frame::Faults;
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
    measuring: MeasuringForm,
    faults: Faults,
}

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct MeasuringForm {
    measuring: String,
    first_id: String,
    last_id: String,
    ruler_mm: String,
}

impl MeasuringForm {
    fn of(settings: &MeasuringSettings) -> MeasuringForm {
        MeasuringForm {
            measuring: settings.measuring.code().to_owned(),
            first_id: settings.cards.ids.start().to_string(),
            last_id: settings.cards.ids.end().to_string(),
            ruler_mm: measuring::ruler_reads_mm(&settings.cards).to_string(),
        }
    }

    fn is(&self, measuring: Measuring) -> bool {
        self.measuring == measuring.code()
    }
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let settings = measuring::settings(&app.desk, &member.member).await?;
    overview(&app, &member, MeasuringForm::of(&settings), Vec::new()).await
}

pub async fn set_measuring(
    State(app): State<App>,
    member: Member,
    Form(form): Form<MeasuringForm>,
) -> Result<Response, PageError> {
    let typed = Setting {
        measuring: form.measuring.clone(),
        first_id: form.first_id.clone(),
        last_id: form.last_id.clone(),
        ruler_mm: form.ruler_mm.clone(),
    };
    match measuring::set(&app.desk, &member.member, &typed, &app.moment()).await {
        Ok(()) => Ok(Redirect::to("/practice").into_response()),
        Err(CareError::Entered(faults)) => overview(&app, &member, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn overview(
    app: &App,
    member: &Member,
    measuring: MeasuringForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let frame = Frame::of(app, member, Part::Practice, "Practice").await?;
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
        measuring,
        faults: Faults(faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

fn within(minutes: u32) -> String {
    match minutes {
        ..120 => format!("{minutes} minutes"),
        _ => format!("{} hours", minutes / 60),
    }
}
