//! A tour of the whole house: every page that people reach, and something typed into every form of it.

use std::collections::BTreeSet;
use std::collections::VecDeque;

use axum::body::Body;
use axum::http::Method;

use closewatch::store::staff::Roles;
use closewatch::triage::Decision;

use super::Page;
use super::Phone;
use super::Practice;
use super::Staff;
use super::attribute;
use super::form_with_files;
use super::from_our_page;
use super::in_danger;
use super::jpeg;
use super::no_danger;
use super::presses;
use super::send;
use super::tags;

/// A form of a page: where it is posted, and its fields with the kind of each and what stands in it.
pub struct Form {
    pub action: String,
    pub is_multipart: bool,
    /// Name, kind and value.
    pub fields: Vec<(String, String, String)>,
}

pub fn forms(page: &Page, path: &str) -> Vec<Form> {
    let html = page.html();
    let mut found = Vec::new();
    for piece in html.split("<form").skip(1) {
        let (head, body) = piece.split_once('>').unwrap();
        let body = body.split("</form").next().unwrap();
        let head = format!("form{head}");
        if attribute(&head, "method").as_deref() != Some("post") {
            continue;
        }
        let action =
            attribute(&head, "action").filter(|action| !action.is_empty()).unwrap_or_else(|| path.to_owned());
        let is_multipart = head.contains("multipart/form-data");
        found.push(Form { action, is_multipart, fields: fields(body) });
    }
    found
}

/// The fields between a form's tags, with the first choice of everything that is chosen.
fn fields(body: &str) -> Vec<(String, String, String)> {
    let mut found: Vec<(String, String, String)> = Vec::new();
    let mut choosing = None;
    for tag in tags(body) {
        let value = attribute(tag, "value").unwrap_or_default();
        match (tag.split_whitespace().next().unwrap_or_default(), attribute(tag, "name")) {
            ("select", name) => choosing = name,
            ("option", _) if !value.is_empty() => {
                if let Some(name) = choosing.take() {
                    found.push((name, "chosen".to_owned(), value));
                }
            }
            ("input", Some(name)) => {
                let kind = attribute(tag, "type").unwrap_or_else(|| "text".to_owned());
                let is_choice = kind == "radio" || kind == "checkbox";
                if !is_choice || !found.iter().any(|(known, _, _)| *known == name) {
                    found.push((name, if is_choice { "chosen".to_owned() } else { kind }, value));
                }
            }
            ("textarea", Some(name)) => found.push((name, "textarea".to_owned(), value)),
            _ => {}
        }
    }
    found
}

/// What a tour does with the forms it meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FormsMet {
    /// Each once.
    Sent,
    LeftAlone,
}

/// A tour of one person: every page that can be reached from the first ones, and each of its forms sent once.
pub struct Tour<'a, Typing> {
    pub cookie: String,
    pub practice: &'a Practice,
    /// What is typed into a field, by the form's address and the field's name.
    pub types: &'a mut Typing,
    /// Every answer, by the address it came from.
    pub told: &'a mut Vec<(String, Page)>,
}

impl<Typing: FnMut(&str) -> String> Tour<'_, Typing> {
    async fn opens(&self, path: &str) -> Page {
        let request = from_our_page(Method::GET, path, &self.cookie).body(Body::empty()).unwrap();
        send(&self.practice.router, request).await
    }

    /// Walks from these pages; ends of sessions are left out, so that the tour goes on.
    pub async fn walks(&mut self, starts: &[&str], forms_met: FormsMet) {
        let mut ahead: VecDeque<String> = starts.iter().map(|path| (*path).to_owned()).collect();
        let mut seen: BTreeSet<String> = BTreeSet::new();
        let mut sent: BTreeSet<String> = BTreeSet::new();
        while let Some(path) = ahead.pop_front() {
            if !seen.insert(path.clone()) || seen.len() > 120 {
                continue;
            }
            let page = self.opens(&path).await;
            for tag in tags(&page.html()).into_iter().filter(|tag| tag.starts_with("a ")) {
                let Some(to) = attribute(tag, "href") else { continue };
                let to = to.split('#').next().unwrap().to_owned();
                if to.starts_with('/') && !to.starts_with("/static") && !to.starts_with("/photos") {
                    ahead.push_back(to);
                }
            }
            let met = match forms_met {
                FormsMet::Sent => forms(&page, &path),
                FormsMet::LeftAlone => Vec::new(),
            };
            for form in met {
                let leaves =
                    ["sign-out", "/leave", "/sessions/end", "/off", "/re-enrol", "/app/remove", "revoke"];
                if leaves.iter().any(|end| form.action.contains(end)) {
                    continue;
                }
                let key = format!(
                    "{} {:?}",
                    form.action,
                    form.fields.iter().map(|field| &field.0).collect::<Vec<_>>()
                );
                if sent.insert(key) {
                    self.sends(&form).await;
                }
            }
            self.told.push((path, page));
        }
    }

    async fn sends(&mut self, form: &Form) {
        let mut fields: Vec<(String, String)> = Vec::new();
        for (name, kind, value) in &form.fields {
            let typed = match kind.as_str() {
                // Numbers stay numbers, or nothing else of the form would be kept.
                "tel" => "202-555-0143".to_owned(),
                "date" | "datetime-local" | "time" | "number" | "hidden" | "chosen" => value.clone(),
                "text" | "search" | "textarea" | "password" | "email" | "url" => {
                    (self.types)(&format!("{} {name}", form.action))
                }
                _ => continue,
            };
            fields.push((name.clone(), typed));
        }
        let fields: Vec<(&str, &str)> =
            fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let page = if form.is_multipart {
            send(&self.practice.router, form_with_files(&form.action, &self.cookie, &fields, &[])).await
        } else {
            presses(self.practice, &form.action, &self.cookie, &fields).await
        };
        self.told.push((form.action.clone(), page));
    }
}

impl<Typing: FnMut(&str) -> String> Tour<'_, Typing> {
    /// The tours of nobody, of a phone, and of somebody with every role: every answer, by the address it came from.
    pub async fn of_everybody(
        practice: &Practice,
        staff: &Staff,
        phone: &Phone,
        forms_met: FormsMet,
        mut types: Typing,
    ) -> Vec<(String, Page)> {
        let mut told = Vec::new();
        let link = format!("/k/{}", phone.patient.issued.token.reveal());
        let starts: [(&str, &[&str]); 3] = [
            ("", &["/sign-in", &link, "/go", "/envelope"]),
            (
                &phone.cookie,
                &["/my", "/my/check", "/my/check/steps", "/my/answers", "/my/strip", "/my/calendar"],
            ),
            (
                &staff.cookie,
                &[
                    "/queue",
                    "/callbacks",
                    "/silence",
                    "/patients",
                    "/practice",
                    "/me",
                    "/me/sign-in",
                    "/alarms",
                    "/hand-over",
                ],
            ),
        ];
        for (cookie, pages) in starts {
            let cookie = cookie.to_owned();
            let mut tour = Tour { cookie, practice, types: &mut types, told: &mut told };
            tour.walks(pages, forms_met).await;
        }
        told
    }
}

/// Somebody who may do everything, so that every page has its forms.
pub async fn everybody(practice: &Practice) -> (Staff, Phone) {
    let (surgeon, office) = (practice.surgeon().await, practice.office().await);
    let patient = office.enrols("Quiet Person", &surgeon).await;
    let phone = patient.opens_link().await;
    let decided = phone.sends("one", no_danger(), &[jpeg(1)]).await;
    surgeon.decides(decided.check, Decision::CallByOffice, "We ring you.").await.unwrap();
    phone.sends("two", in_danger(), &[jpeg(2)]).await;
    phone.types_pin().await;
    practice.works().await;
    let roles = Roles { surgeon: true, office: true, lead: true };
    (practice.staff("Many Hats", roles).await, phone)
}
