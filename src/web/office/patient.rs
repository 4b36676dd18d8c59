//! One patient: wounds, plan, links, and for surgeons the checks.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::enrol;
use crate::care::knock;
use crate::care::patients;
use crate::care::patients::Chart;
use crate::care::patients::ChartWound;
use crate::care::phones as care_phones;
use crate::ids::AntibioticCourseId;
use crate::ids::LinkId;
use crate::ids::PatientId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::plan::day_number;
use crate::plan::strip_state;
use crate::store::links::KeptPhone;
use crate::store::links::PatientLink;
use crate::store::wounds;
use crate::web::App;
use crate::web::chart_words;
use crate::web::chart_words::Class;
use crate::web::chart_words::Risks;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::export::names;
use crate::web::office::antibiotics::AntibioticForm;
use crate::web::office::antibiotics::CourseView;
use crate::web::office::antibiotics::FITS;
use crate::web::office::antibiotics::course_view;
use crate::web::office::contacts::ContactsForm;
use crate::web::office::issued::issued_page;
use crate::web::office::patients::silence_words;
use crate::web::office::patients::state_words;
use crate::web::office::silences::missing_words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

/// Coming photo days shown of a plan.
const PHOTO_DAYS_SHOWN: usize = 4;

struct LinkView {
    id: String,
    name: String,
    history: String,
    is_live: bool,
    phones: Vec<PhoneView>,
}

/// A phone that is in by a link.
struct PhoneView {
    /// As its address calls it.
    name: String,
    says: String,
}

struct CheckLine {
    id: String,
    day: i64,
    class: Class,
    received: String,
    stands: String,
}

struct WoundView {
    id: String,
    place: String,
    procedure: String,
    day: i64,
    operated: String,
    surgeon: String,
    strip: String,
    /// Empty: nothing was.
    put_in: String,
    silent: String,
    steps: Vec<String>,
    risks: Risks,
    links: Vec<LinkView>,
    checks: Vec<CheckLine>,
    courses: Vec<CourseView>,
    silences: Vec<SilenceLine>,
}

#[derive(Template)]
#[template(path = "office/patient.html")]
struct PatientPage {
    frame: Frame,
    name: String,
    born: String,
    age_years: i16,
    phone: String,
    language: &'static str,
    /// By which a lead, who sees no names, finds them in the record.
    reference: String,
    helper_name: String,
    helper_phone: String,
    /// Since when texts are not wanted; empty: they are.
    stopped: String,
    helper_stopped: String,
    wounds: Vec<WoundView>,
    is_surgeon: bool,
    is_office: bool,
    contacts: ContactsForm,
    contacts_address: String,
    contacts_open: bool,
    /// The antibiotic whose form was typed into; empty: none.
    typed_course: String,
    antibiotic: AntibioticForm,
    fits: Vec<(&'static str, &'static str)>,
    link_name: String,
    faults: Faults,
}

/// What was typed into one of the page's forms.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    pub link_name: String,
    pub contacts: Option<ContactsForm>,
    pub antibiotic: Option<(AntibioticCourseId, AntibioticForm)>,
}

/// One thing that did not come.
struct SilenceLine {
    id: String,
    says: &'static str,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: PatientId = id.parse().map_err(|_| PageError::NotFound)?;
    patient_page(&app, &member, id, Typed::default(), Vec::new()).await
}

pub async fn patient_page(
    app: &App,
    member: &Member,
    id: PatientId,
    typed: Typed,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let now = app.now();
    let chart = patients::view(&app.desk, &member.member, id, now).await?;
    let patient = &chart.patient;
    let faults = Faults(faults);
    let shown = PatientPage {
        frame: Frame::of(app, member, Part::Patients, "Patient").await?,
        name: patient.name.clone(),
        born: patient.born.to_string(),
        age_years: patient.age_years(now.to_zoned_datetime(chart.practice.zone.clone()).date()),
        phone: patient.phone.clone(),
        language: patient.language.own_name(),
        reference: names::reference(&patient.id.to_string()),
        helper_name: patient.helper_name.clone().unwrap_or_default(),
        helper_phone: patient.helper_phone.clone().unwrap_or_default(),
        stopped: chart.stopped.map_or_else(String::new, |since| clock_of(&chart, since, now)),
        helper_stopped: chart.helper_stopped.map_or_else(String::new, |since| clock_of(&chart, since, now)),
        wounds: chart.wounds.iter().map(|wound| wound_view(&chart, wound, now)).collect(),
        is_surgeon: member.member.roles.surgeon,
        is_office: member.member.roles.office,
        contacts_address: format!("/patients/{id}/contacts"),
        contacts: typed.contacts.unwrap_or_else(|| ContactsForm {
            phone: patient.phone.clone(),
            helper_name: patient.helper_name.clone().unwrap_or_default(),
            helper_phone: patient.helper_phone.clone().unwrap_or_default(),
            interpreter: match patient.interpreter {
                Some(true) => "yes".to_owned(),
                Some(false) => "no".to_owned(),
                None => String::new(),
            },
        }),
        contacts_open: faults
            .0
            .iter()
            .any(|fault| ["phone", "helper_phone", "helper_name"].contains(&fault.field)),
        typed_course: typed.antibiotic.as_ref().map_or_else(String::new, |(id, _)| id.to_string()),
        antibiotic: typed.antibiotic.map(|(_, form)| form).unwrap_or_default(),
        fits: FITS.iter().map(|(fits, words)| (fits.code(), *words)).collect(),
        link_name: typed.link_name,
        faults,
    };
    page(shown.faults.status(), &shown)
}

fn clock_of(chart: &Chart, at: Timestamp, now: Timestamp) -> String {
    time_words::clock_time(at, now, &chart.practice.zone, STAFF_LANGUAGE)
}

fn wound_view(chart: &Chart, of: &ChartWound, now: Timestamp) -> WoundView {
    let (wound, zone) = (&of.wound, &chart.practice.zone);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let operation = &wound.operation;
    let surgeon = chart.staff.iter().find(|member| member.id == wound.surgeon);
    WoundView {
        id: wound.id.to_string(),
        place: wound_words::place_line(operation),
        procedure: operation.procedure.clone(),
        day: day_number(operation.operated, now, zone),
        operated: clock(operation.operated),
        surgeon: surgeon.map_or_else(String::new, |member| member.name.clone()),
        strip: chart_words::strip(strip_state(operation.packing, wound.strip_out, now), now, zone),
        put_in: chart_words::strips_put_in(operation.packing).unwrap_or_default(),
        silent: silence_words(wound.last_check.unwrap_or(wound.enrolled), of.missed_photo_days, now),
        steps: coming_steps(&of.plan, chart, now),
        risks: chart_words::risks(&wound.risk),
        courses: of.courses.iter().map(|course| course_view(course, now, zone)).collect(),
        silences: of
            .silences
            .iter()
            .map(|one| SilenceLine { id: one.id.to_string(), says: missing_words(one.kind) })
            .collect(),
        links: of.links.iter().map(|link| link_view(link, &of.phones, &clock, now)).collect(),
        checks: of
            .checks
            .iter()
            .map(|check| {
                let decided = of.reviews.iter().rev().find(|review| review.check == check.id);
                CheckLine {
                    id: check.id.to_string(),
                    day: day_number(operation.operated, check.received, zone),
                    class: chart_words::class(check.assessment.urgency),
                    received: clock(check.received),
                    stands: match decided {
                        Some(review) => format!("{}; {}", review.decision.words(), state_words(check.state)),
                        None => state_words(check.state).to_owned(),
                    } + corrected(of, check.id),
                }
            })
            .collect(),
    }
}

/// That something about a check was corrected.
fn corrected(of: &ChartWound, check: WoundCheckId) -> &'static str {
    if of.corrections.iter().any(|one| one.check == check) { "; corrected" } else { "" }
}

/// What lies ahead in the plan, one line each.
fn coming_steps(plan: &[PlanStep], chart: &Chart, now: Timestamp) -> Vec<String> {
    let zone = &chart.practice.zone;
    let day = |at| time_words::day(at, zone, STAFF_LANGUAGE);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let mut lines: Vec<String> = plan
        .iter()
        .filter(|step| step.due > now)
        .filter_map(|step| match step.kind {
            StepKind::PackingRemoval => Some(format!("Strip out {}", clock(step.due))),
            StepKind::WashTwiceDaily => Some(format!("Wash twice a day until {}", day(step.due))),
            StepKind::WashDaily => Some(format!("Wash once a day from {}", day(step.from))),
            StepKind::PlanEnd => Some(format!("Plan ends {}", day(step.due))),
            StepKind::Visit => Some(format!("Comes in {}", clock(step.due))),
            StepKind::PainPill => Some(format!("Pain pill until {}", day(step.due))),
            StepKind::Antibiotic => Some(format!("Antibiotic until {}", day(step.due))),
            StepKind::AntibioticCheck => {
                Some(format!("Is the antibiotic working? Check by {}", clock(step.due)))
            }
            StepKind::Photo | StepKind::Dressing | StepKind::AntibioticEnd => None,
        })
        .collect();
    let photos: Vec<String> = plan
        .iter()
        .filter(|step| step.kind == StepKind::Photo && step.due > now)
        .take(PHOTO_DAYS_SHOWN)
        .map(|step| day(step.from))
        .collect();
    if !photos.is_empty() {
        lines.insert(0, format!("Next photos: {}", photos.join(" · ")));
    }
    lines
}

fn link_view(
    link: &PatientLink,
    phones: &[KeptPhone],
    clock: &impl Fn(Timestamp) -> String,
    now: Timestamp,
) -> LinkView {
    let used = link
        .first_used
        .map_or_else(|| "not used yet".to_owned(), |used| format!("first used {}", clock(used)));
    let ended = match link.revoked {
        Some(revoked) => format!(", revoked {}", clock(revoked)),
        None if link.expires <= now => ", expired".to_owned(),
        None if link.wrong_pins >= knock::PIN_HARD_STOP => {
            format!(", reading is off after {} wrong PINs: issue another", link.wrong_pins)
        }
        None => String::new(),
    };
    let phones = phones.iter().filter(|phone| phone.link == link.id).map(|phone| {
        let kind = if phone.browser.is_empty() { "A phone" } else { &phone.browser };
        let whose = if phone.borrowed { ", somebody else’s" } else { "" };
        PhoneView {
            name: care_phones::name(phone),
            says: format!("{kind}{whose}, since {}", clock(phone.since)),
        }
    });
    LinkView {
        id: link.id.to_string(),
        name: link.name.clone(),
        history: format!("issued {}, {used}{ended}", clock(link.created)),
        is_live: link.revoked.is_none() && link.expires > now,
        phones: phones.collect(),
    }
}

#[derive(Deserialize)]
pub struct LinkForm {
    #[serde(default)]
    link_name: String,
}

pub async fn issue_link(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<LinkForm>,
) -> Result<Response, PageError> {
    let id: WoundId = id.parse().map_err(|_| PageError::NotFound)?;
    match enrol::issue_link(&app.desk, &member.member, id, &form.link_name, &app.moment()).await {
        Ok((patient, wound, issued)) => {
            let frame = Frame::of(&app, &member, Part::Patients, "New link").await?;
            issued_page(&app, frame, &patient, &wound, &issued)
        }
        Err(CareError::Entered(faults)) => {
            let patient = patient_of(&app, &member, id).await?;
            patient_page(
                &app,
                &member,
                patient,
                Typed { link_name: form.link_name, ..Typed::default() },
                faults,
            )
            .await
        }
        Err(other) => Err(other.into()),
    }
}

pub async fn revoke_link(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: LinkId = id.parse().map_err(|_| PageError::NotFound)?;
    let link = enrol::revoke_link(&app.desk, &member.member, id, app.now()).await?;
    let patient = patient_of(&app, &member, link.wound).await?;
    Ok(Redirect::to(&format!("/patients/{patient}")).into_response())
}

/// Puts out one phone of a link.
pub async fn end_phone(
    State(app): State<App>,
    member: Member,
    Path((id, phone)): Path<(String, String)>,
) -> Result<Response, PageError> {
    let id: LinkId = id.parse().map_err(|_| PageError::NotFound)?;
    let link = care_phones::end(&app.desk, &member.member, id, &phone, app.now()).await?;
    let patient = patient_of(&app, &member, link.wound).await?;
    Ok(Redirect::to(&format!("/patients/{patient}")).into_response())
}

async fn patient_of(app: &App, member: &Member, wound: WoundId) -> Result<PatientId, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    let found = wounds::find(&mut conn, member.member.practice, wound).await.map_err(CareError::from)?;
    Ok(found.ok_or(PageError::NotFound)?.patient)
}
