//! Is there enough cover? How long each class waits for a reviewer, as it is and with one more.

use askama::Template;
use axum::extract::RawQuery;
use axum::extract::State;
use axum::response::Response;

use crate::care::Fault;
use crate::care::forecast;
use crate::care::forecast::Records;
use crate::store::staff::StaffMember;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::forecast_form::DAYS;
use crate::web::practice::forecast_form::ForecastForm;
use crate::web::practice::forecast_form::USUAL_WEEKS;
use crate::web::practice::forecast_form::counted;
use crate::web::practice::forecast_form::minutes_field;
use crate::web::practice::forecast_form::per_day_field;
use crate::web::practice::forecast_form::too_few_words;
use crate::web::practice::forecast_view::Outlook;
use crate::web::practice::forecast_view::WeekTable;
use crate::web::practice::forecast_view::outlook;
use crate::web::practice::forecast_view::week_table;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;

/// What is asked of one class.
struct ClassFields {
    class: Class,
    per_day_field: &'static str,
    per_day: String,
    minutes_field: &'static str,
    minutes: String,
    /// "12 recorded, 0.14 a day"; empty when nothing was recorded at all.
    recorded: String,
}

struct DayChoice {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

#[derive(Template)]
#[template(path = "practice/forecast.html")]
struct ForecastPage {
    frame: Frame,
    /// The other practice pages are a lead's.
    form: ForecastForm,
    classes: Vec<ClassFields>,
    days: Vec<DayChoice>,
    /// "412 wound checks in the last 12 weeks".
    recorded: String,
    /// Empty: there are enough records.
    too_few: String,
    week: Option<WeekTable>,
    outlook: Option<Outlook>,
    faults: Faults,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    RawQuery(query): RawQuery,
) -> Result<Response, PageError> {
    let asked = ForecastForm::read(query.as_deref().unwrap_or_default());
    let weeks = asked.as_ref().map_or(USUAL_WEEKS, ForecastForm::weeks_or_usual);
    let records = forecast::records(&app.desk, &member.member, weeks, app.now()).await?;
    let nothing_to_go_by = asked.is_none() && records.arrivals.are_too_few();
    let form = asked.unwrap_or_else(|| ForecastForm::usual(&records));
    let (outlook, faults) = if nothing_to_go_by {
        (None, Vec::new())
    } else {
        match work_out(&app, &member.member, &form, &records).await {
            Ok(outlook) => (Some(outlook), Vec::new()),
            Err(NoOutlook::Faults(faults)) => (None, faults),
            Err(NoOutlook::Page(fault)) => return Err(fault),
        }
    };
    forecast_page(&app, &member, form, &records, outlook, faults).await
}

enum NoOutlook {
    Faults(Vec<Fault>),
    Page(PageError),
}

async fn work_out(
    app: &App,
    member: &StaffMember,
    form: &ForecastForm,
    records: &Records,
) -> Result<Outlook, NoOutlook> {
    let question = form.question(&records.arrivals).map_err(NoOutlook::Faults)?;
    let answer = forecast::answer(&app.desk, member, question.clone()).await;
    let answer = answer.map_err(|fault| NoOutlook::Page(fault.into()))?;
    Ok(outlook(&question, &answer, &form.duty_words()))
}

async fn forecast_page(
    app: &App,
    member: &Member,
    form: ForecastForm,
    records: &Records,
    outlook: Option<Outlook>,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let arrivals = &records.arrivals;
    let few = arrivals.are_too_few();
    let shown = ForecastPage {
        frame: Frame::of(app, member, Part::of_ranking(member), "Cover").await?,
        classes: Urgency::ALL.iter().rev().map(|urgency| class_fields(*urgency, &form, records)).collect(),
        days: DAYS
            .iter()
            .map(|(_, code, words)| DayChoice {
                code,
                words,
                is_chosen: form.days.iter().any(|day| day == code),
            })
            .collect(),
        recorded: format!(
            "{} in the last {}",
            counted(arrivals.total(), "wound check"),
            counted(u64::from(arrivals.weeks()), "whole week")
        ),
        too_few: if few { too_few_words(arrivals) } else { String::new() },
        week: (!few).then(|| week_table(arrivals)),
        outlook,
        form,
        faults: Faults(faults),
    };
    let status = shown.faults.status();
    page(status, &shown)
}

fn class_fields(urgency: Urgency, form: &ForecastForm, records: &Records) -> ClassFields {
    let recorded = records.arrivals.of_class(urgency);
    let per_day = records.arrivals.per_day();
    ClassFields {
        class: class(urgency),
        per_day_field: per_day_field(urgency),
        per_day: form.per_day.of(urgency).clone(),
        minutes_field: minutes_field(urgency),
        minutes: form.minutes.of(urgency).clone(),
        recorded: if records.arrivals.total() == 0 {
            String::new()
        } else {
            format!("{recorded} recorded, {:.2} a day", per_day.of(urgency))
        },
    }
}
