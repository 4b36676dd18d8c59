//! Words nobody else would write are typed into every form of the house, and looked for afterwards wherever no patient's word may
//! stand: in the log, in the record, in what is sent out, in addresses, titles and error pages.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::Mutex;

use axum::http::Method;
use axum::http::StatusCode;
use tracing_subscriber::fmt::MakeWriter;

use closewatch::store::text_columns;
use closewatch::triage::Decision;

use support::Page;
use support::Phone;
use support::Place;
use support::Practice;
use support::Staff;
use support::attribute;
use support::in_danger;
use support::in_each_place;
use support::jpeg;
use support::no_danger;
use support::raw_files;
use support::rows_of;
use support::tags;

mod support;

/// Every log line of this process, whatever its level.
#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);

impl io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl<'a> MakeWriter<'a> for Log {
    type Writer = Log;

    fn make_writer(&'a self) -> Log {
        self.clone()
    }
}

/// A form of a page: where it is posted, and its fields with the kind of each and what stands in it.
struct Form {
    action: String,
    is_multipart: bool,
    fields: Vec<(String, String, String)>,
}

fn forms(page: &Page, path: &str) -> Vec<Form> {
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

/// A tour of one person: every page that can be reached from the first ones, and each of its forms sent once.
struct Tour<'a> {
    cookie: &'a str,
    practice: &'a Practice,
    typed: &'a mut BTreeMap<String, String>,
    told: &'a mut Vec<(String, Page)>,
}

impl Tour<'_> {
    async fn opens(&self, path: &str) -> Page {
        let request =
            support::from_our_page(Method::GET, path, self.cookie).body(axum::body::Body::empty()).unwrap();
        support::send(&self.practice.router, request).await
    }

    /// Walks from these pages; ends of sessions are left out, so that the tour goes on.
    async fn walks(&mut self, starts: &[&str]) {
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
            for form in forms(&page, &path) {
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
                    let canary = format!("Zq{:04}canary", self.typed.len());
                    self.typed.insert(canary.clone(), format!("{} {name}", form.action));
                    canary
                }
                _ => continue,
            };
            fields.push((name.clone(), typed));
        }
        let fields: Vec<(&str, &str)> =
            fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let page = if form.is_multipart {
            support::send(
                &self.practice.router,
                support::form_with_files(&form.action, self.cookie, &fields, &[]),
            )
            .await
        } else {
            support::presses(self.practice, &form.action, self.cookie, &fields).await
        };
        self.told.push((form.action.clone(), page));
    }
}

/// Somebody who may do everything, so that every page has its forms.
async fn everybody(practice: &Practice) -> (Staff, Phone) {
    let (surgeon, office) = (practice.surgeon().await, practice.office().await);
    let patient = office.enrols("Quiet Person", &surgeon).await;
    let phone = patient.opens_link().await;
    let decided = phone.sends("one", no_danger(), &[jpeg(1)]).await;
    surgeon.decides(decided.check, Decision::CallByOffice, "We ring you.").await.unwrap();
    phone.sends("two", in_danger(), &[jpeg(2)]).await;
    phone.types_pin().await;
    practice.works().await;
    let roles = closewatch::store::staff::Roles { surgeon: true, office: true, lead: true };
    (practice.staff("Many Hats", roles).await, phone)
}

/// What was typed, word by field, and every answer that came.
type Toured = (BTreeMap<String, String>, Vec<(String, Page)>);

/// Everybody walks through the whole house and types into every field.
async fn tour(practice: &Practice, staff: &Staff, phone: &Phone) -> Toured {
    let (mut typed, mut told) = (BTreeMap::new(), Vec::new());
    let mut tour = Tour { cookie: "", practice, typed: &mut typed, told: &mut told };
    let link = format!("/k/{}", phone.patient.issued.token.reveal());
    tour.walks(&["/sign-in", &link, "/go"]).await;
    tour.cookie = &phone.cookie;
    tour.walks(&["/my", "/my/check", "/my/check/steps", "/my/answers", "/my/strip", "/my/calendar"]).await;
    tour.cookie = &staff.cookie;
    tour.walks(&[
        "/queue",
        "/callbacks",
        "/silence",
        "/patients",
        "/practice",
        "/me",
        "/me/sign-in",
        "/alarms",
        "/hand-over",
    ])
    .await;
    practice.minutes_of_work_pass(20).await;
    assert!(typed.len() >= 200, "only {} fields were typed into", typed.len());
    (typed, told)
}

/// How many sealed texts of the practice hold a canary.
async fn sealed_canaries(practice: &Practice) -> usize {
    let seals = practice.desk().blobs.seals().unwrap();
    let mut many = 0;
    for column in text_columns::ALL {
        let texts = text_columns::after(&mut *practice.books().await, practice.id, column, "", 10_000).await;
        for text in texts.unwrap() {
            many += usize::from(text.sealed.open(&seals, column, &text.row_id).unwrap().contains("canary"));
        }
    }
    many
}

#[tokio::test]
async fn no_word_typed_anywhere_stands_in_the_log_the_record_a_message_an_address_or_a_title() {
    let log = Log::default();
    let everything = tracing_subscriber::EnvFilter::new("trace");
    tracing::subscriber::set_global_default(closewatch::telemetry::listener(everything, log.clone()))
        .unwrap();
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (staff, phone) = everybody(&practice).await;
    let (typed, told) = tour(&practice, &staff, &phone).await;
    let log = String::from_utf8_lossy(&log.0.lock().unwrap()).into_owned();
    assert!(log.contains("answered"), "the log is listened to");
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    let kept = sealed_canaries(&practice).await;
    assert!(kept >= 10, "what was typed is in the books: {kept}");
    let mut found = Vec::new();
    let mut look = |place: &str, text: &str| {
        for (canary, field) in &typed {
            if text.contains(canary.as_str()) {
                found.push(format!("{canary} of {field} stands in {place}"));
            }
        }
    };
    look("the log", &log);
    for table in ["audit", "notice", "delivery", "job", "ladder", "ladder_rung", "alarm"] {
        for row in &rows[table] {
            look(&format!("a row of {table}"), row);
        }
    }
    for (path, page) in &told {
        look(&format!("where {path} leads"), page.leads_to());
        let html = page.html();
        let title =
            html.split("<title>").nth(1).and_then(|rest| rest.split("</title>").next()).unwrap_or_default();
        look(&format!("the title of {path}"), title);
        if page.status.is_server_error() || page.status == StatusCode::NOT_FOUND {
            look(&format!("the error page of {path}"), &html);
        }
        assert!(!page.status.is_server_error(), "{path}: {}", page.status);
    }
    for (secret, what) in [
        (phone.patient.issued.token.reveal(), "a link"),
        (phone.patient.issued.pin.reveal(), "a PIN"),
        ("Quiet Person", "a name"),
    ] {
        let line = log.lines().find(|line| line.contains(secret));
        assert_eq!(line, None, "the log holds {what}");
    }
    assert!(found.is_empty(), "{} hits:\n{}", found.len(), found.join("\n"));
    println!("{} words were typed, {} answers looked through", typed.len(), told.len());
}

/// Fields that stay readable because they are searched for, rung, or told apart by: names and numbers. So do the practice's own
/// texts, which are about nobody.
const READABLE: &[&str] =
    &["name", "helper_name", "link_name", "sign_in_name", "phone", "helper_phone", "initials"];

/// The canaries in some bytes, each once.
fn canaries_in(bytes: &[u8]) -> BTreeSet<String> {
    let ends = bytes.windows(6).enumerate().filter(|(_, six)| six.eq_ignore_ascii_case(b"canary"));
    let found = ends.filter_map(|(at, _)| bytes.get(at.checked_sub(6)?..at + 6));
    found.map(|word| String::from_utf8_lossy(word).replacen("zq", "Zq", 1)).collect()
}

#[tokio::test]
async fn no_word_typed_anywhere_lies_readable_on_the_disk_or_in_the_books() {
    in_each_place(async |place| {
        let practice = Practice::open(place).await;
        let (staff, phone) = everybody(&practice).await;
        let (typed, _) = tour(&practice, &staff, &phone).await;
        assert!(sealed_canaries(&practice).await >= 10);
        let mut places: Vec<(String, Vec<u8>)> = raw_files(place.folder.path())
            .into_iter()
            .map(|(path, bytes)| (path.display().to_string(), bytes))
            .collect();
        let rows = rows_of(&mut *practice.books().await, practice.id).await;
        for (table, rows) in rows {
            places.push((format!("the table {table}"), rows.join("\n").into_bytes()));
        }
        let (mut found, mut readable) = (BTreeSet::new(), 0);
        for (place, bytes) in &places {
            for canary in canaries_in(bytes) {
                let field = typed.get(&canary).map_or("nothing that was typed", String::as_str);
                let (action, name) = field.split_once(' ').unwrap();
                let is_the_practices_own = action.starts_with("/practice") || action.starts_with("/me");
                match is_the_practices_own || READABLE.contains(&name) {
                    true => readable += 1,
                    false => {
                        found.insert(format!("{canary} of {field} stands in {place}"));
                    }
                }
            }
        }
        assert!(readable >= 3, "the search itself finds what is there: {readable}");
        assert!(found.is_empty(), "{}:\n{}", found.len(), found.into_iter().collect::<Vec<_>>().join("\n"));
    })
    .await;
}
