//! What became of a recorded antibiotic: the laboratory's answer, and its end.

use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::antibiotic;
use crate::care::antibiotic::Over;
use crate::care::patients;
use crate::ids::AntibioticCourseId;
use crate::ids::WoundId;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::antibiotics::Culture;
use crate::store::antibiotics::CultureFits;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::patient::Typed;
use crate::web::office::patient::patient_page;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::time_words;

/// The forms as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct AntibioticForm {
    pub fits: String,
    pub culture_result: String,
    pub over: String,
}

/// One recorded antibiotic as staff read it.
pub struct CourseView {
    pub id: String,
    pub says: String,
    pub culture: String,
    /// The laboratory's answer is awaited.
    pub awaits_culture: bool,
    pub runs: bool,
    /// Its last dose is past.
    pub is_past: bool,
    pub ended: String,
}

/// How the laboratory's answer can read.
pub const FITS: [(CultureFits, &str); 4] = [
    (CultureFits::Fits, "What grew is killed by it"),
    (CultureFits::Resists, "What grew resists it: the surgeon is told"),
    (CultureFits::NothingGrew, "Nothing grew"),
    (CultureFits::Unclear, "Not clear: the surgeon is told"),
];

pub fn course_view(course: &AntibioticCourse, now: Timestamp, zone: &TimeZone) -> CourseView {
    let day = |at| time_words::day(at, zone, STAFF_LANGUAGE);
    let doses = course.doses_per_day.map_or_else(String::new, |doses| format!(", {doses} × a day"));
    let fits = course.culture_fits.and_then(|fits| FITS.iter().find(|(one, _)| *one == fits));
    CourseView {
        id: course.id.to_string(),
        says: format!("{}{doses}, {} to {}", course.drug, day(course.started), day(course.ends)),
        culture: match course.culture {
            Culture::None => String::new(),
            Culture::Sent => "Culture sent, no result yet".to_owned(),
            Culture::Noted => {
                format!("Culture: {} — {}", fits.map_or("", |(_, words)| words), course.culture_result)
            }
        },
        awaits_culture: course.culture == Culture::Sent,
        runs: course.stopped.is_none(),
        is_past: course.ends <= now,
        ended: match course.stopped {
            Some(at) => format!("{}, {}", course.stopped_why, day(at)),
            None => String::new(),
        },
    }
}

pub async fn culture(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<AntibioticForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let noted = match form.fits.parse::<CultureFits>() {
        Ok(fits) => {
            let (desk, member) = (&app.desk, &member.member);
            antibiotic::note_culture(desk, member, id, fits, &form.culture_result, &app.moment()).await
        }
        Err(_) => {
            Err(CareError::Entered(vec![Fault::new("fits", "Choose what the laboratory said about it.")]))
        }
    };
    finish(&app, &member, id, form, noted).await
}

pub async fn end(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<AntibioticForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let over = if form.over == "stopped" { Over::Stopped } else { Over::Finished };
    let ended = antibiotic::end(&app.desk, &member.member, id, over, &app.moment()).await;
    finish(&app, &member, id, form, ended).await
}

async fn finish(
    app: &App,
    member: &Member,
    id: AntibioticCourseId,
    form: AntibioticForm,
    done: Result<WoundId, CareError>,
) -> Result<Response, PageError> {
    match done {
        Ok(wound) => {
            let patient = patients::of_wound(&app.desk, &member.member, wound).await?;
            Ok(Redirect::to(&format!("/patients/{patient}")).into_response())
        }
        Err(CareError::Entered(faults)) => {
            let patient = patients::of_course(&app.desk, &member.member, id).await?;
            let typed = Typed { antibiotic: Some((id, form)), ..Typed::default() };
            patient_page(app, member, patient, typed, faults).await
        }
        Err(other) => Err(other.into()),
    }
}

fn read_id(text: &str) -> Result<AntibioticCourseId, PageError> {
    text.parse().map_err(|_| PageError::NotFound)
}
