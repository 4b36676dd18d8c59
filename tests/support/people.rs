//! The people, and what they do.

use axum::http::Method;
use axum::http::header;

use closewatch::care::Done;
use closewatch::care::LinkHolder;
use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::callback::Call;
use closewatch::care::enrol;
use closewatch::care::enrol::Enrolled;
use closewatch::care::enrol::Enrolment;
use closewatch::care::enrol::IssuedLink;
use closewatch::care::intake;
use closewatch::care::intake::Receipt;
use closewatch::care::intake::Sending;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::knock::Knock;
use closewatch::care::queue;
use closewatch::care::queue::Looking;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::second_step::setting_up;
use closewatch::ids::CallbackId;
use closewatch::ids::ReviewId;
use closewatch::ids::WoundCheckId;
use closewatch::plan::Operation;
use closewatch::plan::RiskFactors;
use closewatch::store::audit;
use closewatch::store::callbacks;
use closewatch::store::checks;
use closewatch::store::checks::QueueFilter;
use closewatch::store::checks::WaitingCheck;
use closewatch::store::checks::WoundCheck;
use closewatch::store::staff::StaffMember;
use closewatch::triage::Answers;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::words::Language;

use super::File;
use super::PASSWORD;
use super::Page;
use super::Practice;
use super::app_seed;
use super::form;
use super::form_with_files;
use super::from_our_page;
use super::jpeg;
use super::operation;
use super::person;
use super::send;

/// A member of staff at a desk, signed in.
#[derive(Clone)]
pub struct Staff {
    pub practice: Practice,
    pub member: StaffMember,
    pub cookie: String,
}

impl Staff {
    /// Signs in through the pages, with both steps; the app for the second is given before.
    pub async fn signs_in(practice: &Practice, member: StaffMember) -> Staff {
        setting_up::give_app(practice.desk(), &member, &app_seed(), practice.now()).await.unwrap();
        let half = Staff::types_password(practice, member).await;
        half.takes_second_step().await
    }

    /// Only the first step: nothing opens yet.
    pub async fn types_password(practice: &Practice, member: StaffMember) -> Staff {
        let fields = [("sign_in_name", member.sign_in_name.as_str()), ("password", PASSWORD)];
        let page = presses(practice, "/sign-in", "", &fields).await;
        let cookie = page.cookie().unwrap_or_else(|| panic!("no cookie; the page says: {}", page.words()));
        Staff { practice: practice.clone(), member, cookie }
    }

    /// Types what the app shows now.
    pub async fn takes_second_step(&self) -> Staff {
        let code = app_seed().code_at(self.practice.now());
        let page = self.presses("/prove/code", &[("code", &code)]).await;
        let cookie = page.cookie().unwrap_or_else(|| panic!("no cookie; the page says: {}", page.words()));
        Staff { cookie, ..self.clone() }
    }

    pub async fn opens(&self, path: &str) -> Page {
        opens(&self.practice, path, &self.cookie).await
    }

    pub async fn presses(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        presses(&self.practice, path, &self.cookie, fields).await
    }

    /// Opens the review page of a check and sends its decision form, filled in like this.
    pub async fn fills_in(&self, check: WoundCheckId, fields: &[(&str, &str)]) -> Page {
        let shown = self.opens(&format!("/checks/{check}")).await.field("extent").unwrap_or_default();
        let fields = [fields, &[("extent", shown.as_str())]].concat();
        self.presses(&format!("/checks/{check}/decide"), &fields).await
    }

    /// Enrols a patient with a drained abscess; the member must be of the office.
    pub async fn enrols(&self, name: &str, surgeon: &Staff) -> Patient {
        let enrolled = self.tries_to_enrol(name, surgeon, &format!("key of {name}")).await.unwrap();
        let issued = enrolled.issued.clone().expect("a first enrolment issues a link");
        Patient { practice: self.practice.clone(), enrolled, issued }
    }

    pub async fn tries_to_enrol(&self, name: &str, surgeon: &Staff, enrol_key: &str) -> Done<Enrolled> {
        let form = Enrolment {
            enrol_key: enrol_key.to_owned(),
            patient: person(name),
            surgeon: surgeon.member.id,
            operation: operation(self.practice.now()),
            risk: RiskFactors::default(),
        };
        enrol::enrol(self.practice.desk(), &self.member, form, &self.practice.moment()).await
    }

    /// The queue as this surgeon sees it now.
    pub async fn reads_queue(&self) -> Vec<WaitingCheck> {
        let filter = QueueFilter::default();
        queue::read(self.practice.desk(), &self.member, &filter, Looking::Refreshed, self.practice.now())
            .await
            .unwrap()
            .rows
    }

    /// Opens a check and decides it, with an answer to the patient.
    pub async fn decides(&self, check: WoundCheckId, decision: Decision, reply: &str) -> Done<ReviewId> {
        let (desk, moment) = (self.practice.desk(), self.practice.moment());
        review::open(desk, &self.member, check, moment.now).await?;
        let deciding = Deciding {
            decision,
            reply: reply.to_owned(),
            note: "seen".to_owned(),
            come_in: (decision == Decision::ComeIn).then_some(moment.now),
            ask: String::new(),
            judged: None,
            antibiotic: None,
            extent: None,
        };
        review::decide(desk, &self.member, check, deciding, &moment).await
    }

    /// The open callbacks as the office sees them.
    pub async fn reads_callbacks(&self) -> Vec<Call> {
        callback::list(self.practice.desk(), &self.member, self.practice.now()).await.unwrap().open
    }

    /// Rings about a callback and notes how it went.
    pub async fn rings(&self, call: &Call, result: CallResult, outcome: Option<CallOutcome>) -> Done<()> {
        let attempting = Attempting { result, note: String::new(), outcome, ..Attempting::of(result) };
        let (desk, moment) = (self.practice.desk(), self.practice.moment());
        callback::log_attempt(desk, &self.member, call.callback.id, attempting, &moment).await
    }
}

/// A patient with a sheet in hand.
#[derive(Clone)]
pub struct Patient {
    pub practice: Practice,
    pub enrolled: Enrolled,
    pub issued: IssuedLink,
}

impl Patient {
    /// Opens the link on a phone.
    pub async fn opens_link(&self) -> Phone {
        let (desk, moment) = (self.practice.desk(), self.practice.moment());
        match knock::knock(desk, self.issued.token.reveal(), AtTheDoor::default(), &moment).await.unwrap() {
            Knock::Open { token, .. } => {
                let cookie = format!("__Host-closewatch-phone={}", token.reveal());
                Phone { patient: self.clone(), token: token.reveal().to_owned(), cookie }
            }
            Knock::Closed { .. } | Knock::Unknown => panic!("the link does not open"),
        }
    }
}

/// A phone on which the link was opened.
#[derive(Clone)]
pub struct Phone {
    pub patient: Patient,
    pub token: String,
    pub cookie: String,
}

impl Phone {
    pub async fn holder(&self) -> LinkHolder {
        let practice = &self.patient.practice;
        knock::holder(practice.desk(), &self.token, practice.now()).await.unwrap().expect("the phone is in")
    }

    pub async fn opens(&self, path: &str) -> Page {
        opens(&self.patient.practice, path, &self.cookie).await
    }

    pub async fn presses(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        presses(&self.patient.practice, path, &self.cookie, fields).await
    }

    /// Every check of this wound, newest first.
    pub async fn checks(&self) -> Vec<WoundCheck> {
        let holder = self.holder().await;
        let mut books = self.patient.practice.books().await;
        checks::of_wound(&mut books, holder.practice, holder.wound).await.unwrap()
    }

    /// Posts a form with files, as a browser without scripts does.
    pub async fn posts_files(&self, path: &str, fields: &[(&str, &str)], files: &[File<'_>]) -> Page {
        send(&self.patient.practice.router, form_with_files(path, &self.cookie, fields, files)).await
    }

    /// Types the PIN of the sheet.
    pub async fn types_pin(&self) -> knock::PinTry {
        let practice = &self.patient.practice;
        let pin = self.patient.issued.pin.reveal();
        knock::try_pin(practice.desk(), &self.token, pin, &practice.moment()).await.unwrap()
    }

    /// Sends a check: answers and pictures under one form key.
    pub async fn sends(&self, form_key: &str, answers: Answers, pictures: &[Vec<u8>]) -> Receipt {
        self.tries_to_send(form_key, answers, pictures).await.unwrap()
    }

    pub async fn tries_to_send(
        &self,
        form_key: &str,
        answers: Answers,
        pictures: &[Vec<u8>],
    ) -> Done<Receipt> {
        let practice = &self.patient.practice;
        let mut prepared = Vec::new();
        for (position, picture) in (1..).zip(pictures) {
            prepared.push(intake::prepare_photo(practice.desk(), picture.clone(), position, None).await?);
        }
        let sending = Sending {
            form_key: form_key.to_owned(),
            answers,
            photos_expected: i64::try_from(pictures.len()).unwrap(),
        };
        intake::receive(practice.desk(), &self.holder().await, sending, prepared, &practice.moment()).await
    }
}

impl Practice {
    /// A phone with the open link of a patient enrolled with these risk factors and this operation.
    pub async fn phone_of(
        &self,
        name: &str,
        language: Language,
        risk: RiskFactors,
        operation: Operation,
    ) -> Phone {
        let (surgeon, office) = (self.surgeon().await, self.office().await);
        let mut patient = person(name);
        patient.language = language;
        let form = Enrolment {
            enrol_key: format!("key of {name} with risk"),
            patient,
            surgeon: surgeon.member.id,
            operation,
            risk,
        };
        let enrolled = enrol::enrol(self.desk(), &office.member, form, &self.moment()).await.unwrap();
        let issued = enrolled.issued.clone().unwrap();
        Patient { practice: self.clone(), enrolled, issued }.opens_link().await
    }
}

pub async fn opens(practice: &Practice, path: &str, cookie: &str) -> Page {
    let request = from_our_page(Method::GET, path, cookie).body(axum::body::Body::empty()).unwrap();
    send(&practice.router, request).await
}

pub async fn presses(practice: &Practice, path: &str, cookie: &str, fields: &[(&str, &str)]) -> Page {
    let request = from_our_page(Method::POST, path, cookie)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(form(fields))
        .unwrap();
    send(&practice.router, request).await
}

/// A patient who sent one check with these answers; the surgeon finds it in the queue.
pub async fn one_check(
    practice: &Practice,
    name: &str,
    answers: closewatch::triage::Answers,
) -> (Patient, WoundCheckId) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let patient = office.enrols(name, &surgeon).await;
    let receipt = patient.opens_link().await.sends("form", answers, &[jpeg(1)]).await;
    (patient, receipt.check)
}

/// The first call the office has to make.
pub async fn open_callback(practice: &Practice) -> CallbackId {
    callbacks::open(&mut *practice.books().await, practice.id).await.unwrap()[0].id
}

/// What the practice's record says was done, newest first.
pub async fn actions(practice: &Practice) -> Vec<String> {
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    lines.into_iter().map(|line| line.action).collect()
}
