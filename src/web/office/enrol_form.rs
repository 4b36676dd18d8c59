//! The enrolment form as typed, and the page that shows it.

use askama::Template;
use axum::response::Response;
use serde::Deserialize;

use crate::care::Fault;
use crate::plan::Diabetes;
use crate::plan::Immunity;
use crate::plan::Side;
use crate::plan::Site;
use crate::store::staff::StaffMember;
use crate::web::error::PageError;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::page;
use crate::web::wound_words;
use crate::words::Language;

/// Everything as typed: a form that comes back loses nothing.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct EnrolForm {
    pub enrol_key: String,
    pub name: String,
    pub born: String,
    pub phone: String,
    pub language: String,
    pub helper_name: String,
    pub helper_phone: String,
    pub site: String,
    pub side: String,
    pub procedure: String,
    pub surgeon: String,
    pub operated: String,
    pub length_mm: String,
    pub width_mm: String,
    pub depth_mm: String,
    /// `placed`, `none`, or nothing chosen.
    pub strips: String,
    pub strip_pieces: String,
    pub strip_length: String,
    /// `cm` or `in`.
    pub strip_unit: String,
    pub strip_placed: String,
    /// `drawn` or `none`.
    pub line: String,
    pub pen_line: String,
    pub diabetes: String,
    pub immunity: String,
    pub sglt2: String,
    pub ketone_strips: String,
    pub blood_thinner: String,
    pub pregnant: String,
    pub heart_valve: String,
    pub poor_circulation: String,
    pub mrsa_before: String,
    pub injects_drugs: String,
    pub beta_blocker: String,
    pub opioid_pain_pill: String,
    pub redness_hard_to_see: String,
    pub lives_alone: String,
    pub takes_antibiotic: String,
    pub antibiotic_drug: String,
    pub antibiotic_started: String,
    pub allergies: String,
}

/// One entry of a list to choose from.
pub struct Choice {
    pub code: String,
    pub words: String,
    pub is_chosen: bool,
}

/// One yes-or-no question. Nothing chosen means that nobody asked.
pub struct YesNoLine {
    pub field: &'static str,
    pub words: &'static str,
    pub hint: &'static str,
    pub is_yes: bool,
    pub is_no: bool,
}

#[derive(Template)]
#[template(path = "office/enrol.html")]
struct EnrolPage {
    frame: Frame,
    languages: Vec<Choice>,
    sites: Vec<Choice>,
    sides: Vec<Choice>,
    surgeons: Vec<Choice>,
    diabetes: Vec<Choice>,
    immunity: Vec<Choice>,
    questions: Vec<YesNoLine>,
    zone: String,
    form: EnrolForm,
    faults: Faults,
}

pub fn enrol_page(
    frame: Frame,
    staff: &[StaffMember],
    form: EnrolForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let faults = Faults(faults);
    let shown = EnrolPage {
        languages: choices(Language::ALL, &form.language, |language| (language.code(), language.own_name())),
        sites: choices(Site::ALL.iter().copied(), &form.site, |site| {
            (site.code(), wound_words::site_en(site))
        }),
        sides: choices(Side::ALL.iter().copied(), &form.side, |side| {
            (side.code(), wound_words::side_words(side))
        }),
        surgeons: staff
            .iter()
            .filter(|member| member.roles.surgeon && member.active)
            .map(|member| {
                let code = member.id.to_string();
                Choice { is_chosen: form.surgeon == code, code, words: member.name.clone() }
            })
            .collect(),
        diabetes: choices(Diabetes::ALL.iter().copied(), &form.diabetes, |kind| {
            (kind.code(), diabetes_words(kind))
        }),
        immunity: choices(Immunity::ALL.iter().copied(), &form.immunity, |kind| {
            (kind.code(), immunity_words(kind))
        }),
        questions: questions(&form),
        zone: frame.practice.zone.iana_name().unwrap_or("the practice’s zone").to_owned(),
        frame,
        form,
        faults,
    };
    page(shown.faults.status(), &shown)
}

fn choices<T: Copy>(
    all: impl IntoIterator<Item = T>,
    chosen: &str,
    words: impl Fn(T) -> (&'static str, &'static str),
) -> Vec<Choice> {
    all.into_iter()
        .map(|one| {
            let (code, words) = words(one);
            Choice { code: code.to_owned(), words: words.to_owned(), is_chosen: code == chosen }
        })
        .collect()
}

fn diabetes_words(kind: Diabetes) -> &'static str {
    match kind {
        Diabetes::None => "No diabetes",
        Diabetes::T1 => "Type 1",
        Diabetes::T2 => "Type 2",
        Diabetes::Other => "Another kind",
    }
}

fn immunity_words(kind: Immunity) -> &'static str {
    match kind {
        Immunity::None => "No weakness known",
        Immunity::Moderate => "Steroids, transplant, biologic, HIV not controlled, dialysis or cirrhosis",
        Immunity::Chemo => "Chemotherapy or low white cells",
        Immunity::Asplenia => "No working spleen",
    }
}

fn questions(form: &EnrolForm) -> Vec<YesNoLine> {
    [
        ("blood_thinner", "Blood thinner", "also aspirin and other antiplatelets", &form.blood_thinner),
        ("sglt2", "SGLT2 drug", "a “-gliflozin” for sugar, heart or kidneys", &form.sglt2),
        ("ketone_strips", "Ketone strips at home", "", &form.ketone_strips),
        ("pregnant", "Pregnant", "", &form.pregnant),
        ("heart_valve", "Artificial or repaired heart valve", "", &form.heart_valve),
        ("poor_circulation", "Poor circulation in the legs", "", &form.poor_circulation),
        ("mrsa_before", "MRSA before", "", &form.mrsa_before),
        ("injects_drugs", "Injects drugs", "", &form.injects_drugs),
        ("beta_blocker", "Beta-blocker", "hides a fast pulse", &form.beta_blocker),
        ("opioid_pain_pill", "Opioid pain pill", "", &form.opioid_pain_pill),
        (
            "redness_hard_to_see",
            "Redness is hard to see on their skin",
            "ask the patient",
            &form.redness_hard_to_see,
        ),
        ("lives_alone", "Lives alone", "", &form.lives_alone),
        ("takes_antibiotic", "Sent home with an antibiotic", "", &form.takes_antibiotic),
    ]
    .into_iter()
    .map(|(field, words, hint, answer)| YesNoLine {
        field,
        words,
        hint,
        is_yes: answer == "yes",
        is_no: answer == "no",
    })
    .collect()
}
