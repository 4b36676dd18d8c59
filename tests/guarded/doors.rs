//! Who may enter where: every door times everyone who may knock, compared with a table that people can read.
//!
//! After a door was added or its rule changed: `RENEW_TRUTH=1 cargo test --test guarded doors`, and read the difference.

use std::collections::BTreeMap;
use std::fmt::Write;

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::http::request;

use closewatch::care::callback::Call;
use closewatch::care::enrol;
use closewatch::care::export::agreement;
use closewatch::care::phones;
use closewatch::ids::ExportAgreementId;
use closewatch::ids::LateKnockId;
use closewatch::ids::LegalHoldId;
use closewatch::ids::PhotoId;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::drills;
use closewatch::store::export_agreements;
use closewatch::store::export_agreements::ExportAgreement;
use closewatch::store::ladders;
use closewatch::store::late_knocks;
use closewatch::store::late_knocks::LateKnock;
use closewatch::store::legal_holds;
use closewatch::store::legal_holds::LegalHold;
use closewatch::store::links;
use closewatch::store::photos;
use closewatch::store::protocols;
use closewatch::store::protocols::KeptProtocol;
use closewatch::store::protocols::ProtocolOrigin;
use closewatch::store::replies;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::store::staff::Roles;
use closewatch::triage::Decision;
use closewatch::triage::Edits;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::Door;
use closewatch::web::Who;

use crate::support;
use crate::support::Page;
use crate::support::Patient;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::form;
use crate::support::from_our_page;
use crate::support::goes_silent;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::looks;
use crate::support::no_danger;
use crate::support::opens_envelope;
use crate::support::rows_of;
use crate::support::send;

/// Someone at the door.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Visitor {
    Nobody,
    Phone,
    /// Opened the sealed envelope.
    Onlooker,
    Surgeon,
    Office,
    Lead,
}

impl Visitor {
    const ALL: [Visitor; 6] = [
        Visitor::Nobody,
        Visitor::Phone,
        Visitor::Onlooker,
        Visitor::Surgeon,
        Visitor::Office,
        Visitor::Lead,
    ];
}

/// How the door answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Answer {
    In,
    /// To the sign-in page, or to where a sealed code is typed.
    SignIn,
    /// Told to open the link or to sign in.
    Unknown,
    /// Not part of the role.
    Refused,
}

impl Answer {
    fn word(self) -> &'static str {
        match self {
            Answer::In => "in",
            Answer::SignIn => "303",
            Answer::Unknown => "401",
            Answer::Refused => "403",
        }
    }
}

/// What the rule of a door promises a visitor.
fn promised(door: &Door, visitor: Visitor) -> Answer {
    let of_staff = |admitted: bool| match (visitor, admitted) {
        (Visitor::Nobody | Visitor::Phone | Visitor::Onlooker, _) if door.method == Method::POST => {
            Answer::Unknown
        }
        (Visitor::Nobody | Visitor::Phone | Visitor::Onlooker, _) => Answer::SignIn,
        (Visitor::Surgeon | Visitor::Office | Visitor::Lead, true) => Answer::In,
        (Visitor::Surgeon | Visitor::Office | Visitor::Lead, false) => Answer::Refused,
    };
    match door.who {
        Who::Anyone => Answer::In,
        // Nobody of these brings a signature.
        Who::Provider => Answer::Unknown,
        Who::Phone if visitor == Visitor::Phone => Answer::In,
        Who::Phone => Answer::Unknown,
        Who::Onlooker if visitor == Visitor::Onlooker => Answer::In,
        Who::Onlooker => Answer::SignIn,
        Who::Entering | Who::Staff => of_staff(true),
        Who::Surgeon => of_staff(visitor == Visitor::Surgeon),
        Who::Office => of_staff(visitor == Visitor::Office),
        Who::Caller => of_staff(matches!(visitor, Visitor::Surgeon | Visitor::Office)),
        // Nobody of the office was let see photos here.
        Who::PhotoViewer => of_staff(visitor == Visitor::Surgeon),
        Who::Judge => of_staff(matches!(visitor, Visitor::Surgeon | Visitor::Lead)),
        Who::Lead => of_staff(visitor == Visitor::Lead),
    }
}

fn answered(door: &Door, page: &Page) -> Answer {
    if page.status == StatusCode::SEE_OTHER && page.leads_to() == "/envelope" {
        return Answer::SignIn;
    }
    if page.status == StatusCode::SEE_OTHER && page.leads_to() == "/sign-in" && door.who != Who::Anyone {
        // Signing out leads there as well, and says so with a cookie that is taken away.
        return if page.cookie().is_some() { Answer::In } else { Answer::SignIn };
    }
    match page.status {
        StatusCode::UNAUTHORIZED => Answer::Unknown,
        StatusCode::FORBIDDEN if page.says("Not part of your role") => Answer::Refused,
        _ => Answer::In,
    }
}

/// A practice with something behind every door.
struct House {
    practice: Practice,
    surgeon: Staff,
    office: Staff,
    lead: Staff,
    patient: Patient,
    phone: Phone,
    /// A link and a member of staff that nobody needs: some doors end them.
    spare_link: String,
    spare_member: String,
    check: String,
    receipt: String,
    photo: PhotoId,
    call: Call,
    reply_text: String,
    message: String,
    /// A step of the patient's plan.
    step: String,
    silence: String,
    antibiotic: String,
    ladder: String,
    alarm: String,
    drill: String,
    /// A phone of the patient's own link, and a knock on a closed one.
    phone_name: String,
    late_knock: String,
    /// The cookie of a look that runs, and a look that nobody needs.
    onlooker: String,
    spare_look: String,
    hold: String,
    /// Somebody else asked for everything to be taken out.
    agreement: String,
}

async fn furnished(place: &Place) -> House {
    let practice = Practice::open(place).await;
    let (surgeon, office, lead) = (practice.surgeon().await, practice.office().await, practice.lead().await);
    let patient = office.enrols("Mia Stone", &surgeon).await;
    let phone = patient.opens_link().await;
    let decided = phone.sends("form 1", no_danger(), &[]).await;
    surgeon.decides(decided.check, Decision::CallByOffice, "We will ring you.").await.unwrap();
    let call = office.reads_callbacks().await.remove(0);
    let waiting = phone.sends("form 2", no_danger(), &[jpeg(1)]).await;
    let mut books = practice.books().await;
    let photo = photos::of_check(&mut books, practice.id, waiting.check).await.unwrap()[0].id;
    let reply_text = replies::of_practice(&mut books, practice.id).await.unwrap()[0].id.to_string();
    let wound = patient.enrolled.wound.id;
    let thread = closewatch::store::thread::of_wound(&mut books, practice.id, wound).await.unwrap();
    let message = thread[0].id.to_string();
    let step =
        closewatch::store::plan::steps(&mut books, practice.id, wound).await.unwrap()[0].id.to_string();
    drop(books);
    let (ladder, alarm) = something_wrong(&practice, &office, &surgeon).await;
    let (desk, moment) = (practice.desk(), practice.moment());
    let (_, _, spare) =
        enrol::issue_link(desk, &office.member, wound, "daughter Ana", &moment).await.unwrap();
    keep_own_protocol(&practice).await;
    let (silence, antibiotic) = goes_silent(&practice, &office.member, wound).await;
    let mut tx = desk.db.write().await.unwrap();
    let drill = drills::begin(&mut tx, practice.id, None, &moment).await.unwrap().unwrap().id.to_string();
    tx.commit().await.unwrap();
    let (phone_name, late_knock) = knocks_late(&practice, &patient).await;
    opens_envelope(&practice, &lead, "Nobody Needs").await;
    let spare_look = looks(&practice).await[0].id.to_string();
    let onlooker = opens_envelope(&practice, &lead, "Kim Vale").await;
    let hold = held(&practice, &lead).await;
    let agreement = asks_for_everything(&practice, &office).await;
    let spare_member = practice.hires("Sam Reed", Roles { office: true, ..Roles::default() }).await;
    House {
        spare_link: spare.link.id.to_string(),
        spare_member: spare_member.id.to_string(),
        check: waiting.check.to_string(),
        receipt: waiting.code,
        practice,
        surgeon,
        office,
        lead,
        patient,
        phone,
        photo,
        call,
        reply_text,
        message,
        step,
        silence: silence.to_string(),
        antibiotic: antibiotic.to_string(),
        ladder,
        alarm,
        drill,
        phone_name,
        late_knock,
        onlooker,
        spare_look,
        hold,
        agreement,
    }
}

/// A legal hold on the whole practice, for whose end a lead who has left has asked: whoever may be the second ends it.
async fn held(practice: &Practice, lead: &Staff) -> String {
    let moment = practice.moment();
    let hold = LegalHold {
        id: LegalHoldId::mint(&moment),
        practice: practice.id,
        patient: None,
        reason: "A letter.".into(),
        placed_by: lead.member.id,
        placed: moment.now,
        asked: None,
        released: None,
    };
    let gone = practice.hires("Max Dorn", Roles { lead: true, ..Roles::default() }).await;
    let mut tx = practice.desk().db.write().await.unwrap();
    legal_holds::insert(&mut tx, &hold).await.unwrap();
    assert!(legal_holds::note_asked(&mut tx, practice.id, hold.id, gone.id, moment.now).await.unwrap());
    staff::set_active(&mut tx, practice.id, gone.id, Activity::Gone).await.unwrap();
    tx.commit().await.unwrap();
    hold.id.to_string()
}

/// Everything is asked for by somebody who is still here and was a lead then: whoever is here may be the second, and nobody is a
/// second lead, without whom the surgeon ends a hold.
async fn asks_for_everything(practice: &Practice, asker: &Staff) -> String {
    let moment = practice.moment();
    let asked = ExportAgreement {
        id: ExportAgreementId::mint(&moment),
        practice: practice.id,
        asked_by: asker.member.id,
        asked: moment.now,
        until: moment.now + agreement::WITHIN,
        agreed: None,
        taken: None,
        withdrawn: None,
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    export_agreements::insert(&mut tx, &asked).await.unwrap();
    tx.commit().await.unwrap();
    asked.id.to_string()
}

/// A phone of this patient's link, by the name it has in addresses, and a knock that waits.
async fn knocks_late(practice: &Practice, patient: &Patient) -> (String, String) {
    let (wound, moment) = (patient.enrolled.wound.id, practice.moment());
    let mut tx = practice.desk().db.write().await.unwrap();
    let phones = links::phones(&mut tx, practice.id, wound, moment.now).await.unwrap();
    let knock = LateKnock {
        id: LateKnockId::mint(&moment),
        practice: practice.id,
        link: patient.issued.link.id,
        wound,
        words: "It itches.".into(),
        knocks: 1,
        first: moment.now,
        last: moment.now,
        due: moment.now,
        dealt: None,
    };
    late_knocks::keep(&mut tx, &knock).await.unwrap();
    tx.commit().await.unwrap();
    (phones::name(&phones[0]), knock.id.to_string())
}

/// A ladder that runs and an alarm that is open.
async fn something_wrong(practice: &Practice, office: &Staff, surgeon: &Staff) -> (String, String) {
    let phone = office.enrols("Ned Gray", surgeon).await.opens_link().await;
    phone.sends("urgent", in_danger(), &[]).await;
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    alarms::raise(&mut tx, practice.id, AlarmKind::ClockSetBack, "server", &moment).await.unwrap();
    tx.commit().await.unwrap();
    let mut books = practice.books().await;
    let ladder = ladders::all_running(&mut books, practice.id).await.unwrap()[0].id.to_string();
    (ladder, alarms::open(&mut books, practice.id).await.unwrap()[0].id.to_string())
}

/// A version of the protocol that no other practice has.
const OWN_VERSION: &str = "2.9";

async fn keep_own_protocol(practice: &Practice) {
    let own = Protocol::built_in().edited(&Edits::default(), OWN_VERSION).unwrap();
    let kept = KeptProtocol {
        practice: practice.id,
        version: OWN_VERSION.to_owned(),
        number: 9,
        origin: ProtocolOrigin::Practice,
        text: own.to_json(),
        in_force: practice.now(),
        approvals: Vec::new(),
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    protocols::keep(&mut tx, &kept).await.unwrap();
    tx.commit().await.unwrap();
}

impl House {
    fn doors(&self) -> Vec<Door> {
        web::doors(&self.practice.app)
    }

    /// A door's address with something real of this practice in its blanks.
    fn address(&self, door: &Door) -> String {
        let first = door.path.trim_start_matches('/').split('/').next().unwrap_or("");
        let id = match first {
            "checks" => self.check.clone(),
            "look" if door.path.contains("photos") => self.photo.to_string(),
            "look" => self.check.clone(),
            "drills" => self.drill.clone(),
            "photos" => self.photo.to_string(),
            "callbacks" => self.call.callback.id.to_string(),
            "patients" => self.patient.enrolled.patient.id.to_string(),
            "wounds" => self.patient.enrolled.wound.id.to_string(),
            "links" if door.path.contains("phones") => self.patient.issued.link.id.to_string(),
            "late" => self.late_knock.clone(),
            "links" => self.spare_link.clone(),
            "silence" => self.silence.clone(),
            "antibiotics" => self.antibiotic.clone(),
            "practice" if door.path.contains("replies") => self.reply_text.clone(),
            "practice" if door.path.contains("holds") => self.hold.clone(),
            "practice" if door.path.contains("export") => self.agreement.clone(),
            "practice" => self.spare_member.clone(),
            "my" => self.message.clone(),
            _ => String::new(),
        };
        let mut address = String::new();
        for part in door.path.split('/').skip(1) {
            let filled = match part {
                "{id}" | "{message}" => {
                    assert!(!id.is_empty(), "no id is known for {}: add it to House::address", door.path);
                    id.clone()
                }
                "{size}" => "small".to_owned(),
                "{number}" => "1".to_owned(),
                "{version}" => OWN_VERSION.to_owned(),
                "{token}" if first == "k" => self.patient.issued.token.reveal().to_owned(),
                "{token}" => "no-such-token".to_owned(),
                "{receipt}" | "{code}" => self.receipt.clone(),
                "{phone}" => self.phone_name.clone(),
                "{step}" => self.step.clone(),
                "{ladder}" => self.ladder.clone(),
                "{alarm}" => self.alarm.clone(),
                "{look}" => self.spare_look.clone(),
                "{*path}" => "base.css".to_owned(),
                blank if blank.starts_with('{') => panic!("{}: add {blank} to House::address", door.path),
                plain => plain.to_owned(),
            };
            write!(address, "/{filled}").unwrap();
        }
        if address.is_empty() { "/".to_owned() } else { address }
    }

    /// A fresh cookie each time: some doors end the session of whoever goes through.
    async fn cookie(&self, visitor: Visitor) -> String {
        let signed_in =
            async |staff: &Staff| Staff::signs_in(&self.practice, staff.member.clone()).await.cookie;
        match visitor {
            Visitor::Nobody => String::new(),
            Visitor::Phone => self.patient.opens_link().await.cookie,
            Visitor::Onlooker => self.onlooker.clone(),
            Visitor::Surgeon => signed_in(&self.surgeon).await,
            Visitor::Office => signed_in(&self.office).await,
            Visitor::Lead => signed_in(&self.lead).await,
        }
    }

    async fn knocks(&self, door: &Door, cookie: &str) -> Page {
        let request = from_our_page(door.method.clone(), &self.address(door), cookie);
        send(&self.practice.router, with_empty_form(door, request)).await
    }

    /// Someone whom the door admits.
    fn welcome(&self, door: &Door) -> Visitor {
        match door.who {
            Who::Anyone | Who::Provider => Visitor::Nobody,
            Who::Phone => Visitor::Phone,
            Who::Onlooker => Visitor::Onlooker,
            Who::Surgeon | Who::Staff | Who::Entering | Who::PhotoViewer => Visitor::Surgeon,
            Who::Office | Who::Caller => Visitor::Office,
            Who::Lead | Who::Judge => Visitor::Lead,
        }
    }

    /// The practice's rows, without what looking may write: the record, sessions, and that a link was opened.
    async fn rows(&self) -> BTreeMap<String, Vec<String>> {
        let mut rows = rows_of(&mut *self.practice.books().await, self.practice.id).await;
        for table in ["audit", "staff_session", "patient_session", "authenticator", "known_browser"] {
            rows.remove(table);
        }
        let looked = [
            "audit_sequence=",
            "audit_head=",
            "first_used_ms=",
            "failed_sign_ins=",
            "next_try_ms=",
            "last_sign_in_ms=",
        ];
        for line in rows.values_mut().flatten() {
            let kept: Vec<&str> =
                line.split(' ').filter(|pair| !looked.iter().any(|start| pair.starts_with(start))).collect();
            *line = kept.join(" ");
        }
        rows
    }
}

fn with_empty_form(door: &Door, request: request::Builder) -> request::Request<Body> {
    let form_type = "application/x-www-form-urlencoded";
    match door.method {
        Method::POST => request.header(header::CONTENT_TYPE, form_type).body(form(&[])).unwrap(),
        _ => request.body(Body::empty()).unwrap(),
    }
}

#[tokio::test]
async fn every_door_admits_whom_its_rule_names_and_turns_everyone_else_away() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let mut table = String::new();
    let mut faults = Vec::new();
    let head = format!("{:6} {:42} {:8}", "", "door", "rule");
    writeln!(table, "{head} nobody phone look surgeon office lead asks again").unwrap();
    let mut doors = house.doors();
    doors.sort_by_key(|door| (door.path, door.method.to_string()));
    for door in &doors {
        let mut words = Vec::new();
        for visitor in Visitor::ALL {
            let page = house.knocks(door, &house.cookie(visitor).await).await;
            let (answer, promise) = (answered(door, &page), promised(door, visitor));
            if answer != promise {
                let (method, path) = (&door.method, door.path);
                faults.push(format!(
                    "{method} {path}: {visitor:?} was promised {promise:?} and got {} {answer:?}",
                    page.status
                ));
            }
            assert_ne!(page.status, StatusCode::INTERNAL_SERVER_ERROR, "{} {}", door.method, door.path);
            words.push(answer.word());
        }
        let (method, path, who) = (door.method.as_str(), door.path, format!("{:?}", door.who));
        let [nobody, phone, look, surgeon, office, lead] = words[..] else { unreachable!() };
        let again = if door.fresh { "yes" } else { "" };
        let line = format!(
            "{method:6} {path:42} {who:8} {nobody:6} {phone:5} {look:4} {surgeon:7} {office:6} {lead:4} {again}"
        );
        writeln!(table, "{}", line.trim_end()).unwrap();
    }
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/doors.txt");
    if std::env::var_os("RENEW_TRUTH").is_some() {
        std::fs::write(file, &table).unwrap();
    }
    let truth = std::fs::read_to_string(file).unwrap_or_default();
    let only_in = |one: &str, other: &str, sign: &str| {
        let lines = one.lines().filter(|line| !other.lines().any(|known| known == *line));
        lines.map(|line| format!("{sign} {line}\n")).collect::<String>()
    };
    let changed = only_in(&truth, &table, "-") + &only_in(&table, &truth, "+");
    assert!(
        table == truth,
        "RENEW_TRUTH=1 cargo test --test guarded doors writes the table anew:\n{changed}"
    );
}

#[tokio::test]
async fn the_other_practice_finds_nothing_behind_any_door_with_our_ids() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let everything = Roles { surgeon: true, office: true, lead: true };
    let neighbour = house.practice.neighbour().await;
    let stranger = neighbour.staff("Sam Hill", everything).await;
    let onlooker = opens_envelope(&neighbour, &stranger, "Far Away").await;
    let cookie = |door: &Door| if door.who == Who::Onlooker { &onlooker } else { &stranger.cookie };
    let before = house.rows().await;
    let mut tried = 0;
    for door in house.doors() {
        let staff_door = !matches!(door.who, Who::Anyone | Who::Provider | Who::Phone);
        if !staff_door || !door.path.contains('{') {
            continue;
        }
        let page = house.knocks(&door, cookie(&door)).await;
        let closed = page.status == StatusCode::NOT_FOUND
            || page.status.is_client_error() && door.method == Method::POST;
        assert!(closed, "{} {}: {}", door.method, door.path, page.status);
        page.must_not_say("Mia Stone").must_not_say("Harbor Surgery");
        tried += 1;
    }
    for door in house.doors().iter().filter(|door| door.method == Method::GET && door.who != Who::Phone) {
        let page = house.knocks(door, cookie(door)).await;
        if door.who != Who::Anyone {
            page.must_not_say("Mia Stone").must_not_say("Harbor Surgery");
        }
    }
    assert_eq!(house.rows().await, before);
    let with_ids = house.doors().iter().filter(|door| door.path.contains("{id}")).count();
    assert!(tried >= with_ids.min(1), "nothing was tried");
}

#[tokio::test]
async fn looking_changes_nothing_but_the_record_and_sessions() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let before = house.rows().await;
    for door in house.doors().iter().filter(|door| door.method == Method::GET) {
        for visitor in Visitor::ALL {
            let cookie = house.cookie(visitor).await;
            house.knocks(door, &cookie).await;
            let head =
                from_our_page(Method::HEAD, &house.address(door), &cookie).body(Body::empty()).unwrap();
            send(&house.practice.router, head).await;
        }
        assert_eq!(house.rows().await, before, "GET {}", door.path);
    }
}

/// What a browser on another site, an old one, or a program sends in place of our own page's proof.
const FROM_ELSEWHERE: &[&[(&str, &str)]] = &[
    &[("sec-fetch-site", "cross-site"), ("origin", "https://evil.example")],
    &[("sec-fetch-site", "same-site"), ("origin", "https://other.wounds.example")],
    &[("sec-fetch-site", "cross-site")],
    &[("origin", "https://evil.example")],
    &[("origin", "null")],
    &[],
];

#[tokio::test]
async fn a_change_that_does_not_come_from_our_own_page_is_refused_at_every_door() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let before = house.rows().await;
    let doors = house.doors();
    // A provider is no browser: it brings a signature, and without one changes nothing either.
    let posts: Vec<&Door> =
        doors.iter().filter(|door| door.method == Method::POST && door.who != Who::Provider).collect();
    assert!(!posts.is_empty());
    for door in posts {
        let cookie = house.cookie(house.welcome(door)).await;
        for proof in FROM_ELSEWHERE {
            let mut request = request::Request::builder()
                .method(Method::POST)
                .uri(house.address(door))
                .header(header::HOST, "wounds.example")
                .header(header::COOKIE, &cookie);
            for (name, value) in *proof {
                request = request.header(*name, *value);
            }
            let page = send(&house.practice.router, with_empty_form(door, request)).await;
            assert_eq!(page.status, StatusCode::FORBIDDEN, "{} with {proof:?}", door.path);
            page.must_say("Nothing was changed");
        }
    }
    assert_eq!(house.rows().await, before);
}

const ON_EVERY_ANSWER: &[(&str, &str)] = &[
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("x-robots-tag", "noindex, noarchive"),
    ("strict-transport-security", "max-age=63072000; includeSubDomains"),
];

/// Each directive of the content policy; `'unsafe-…'` and addresses of others may not appear.
const POLICY: &[&str] = &[
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "connect-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
    "object-src 'none'",
];

fn check_headers(page: &Page, place: &str) {
    let value = |name: &str| page.headers.get(name).map(|value| value.to_str().unwrap().to_owned());
    for (name, expected) in ON_EVERY_ANSWER {
        assert_eq!(value(name).as_deref(), Some(*expected), "{name} at {place}");
    }
    let policy = value("content-security-policy").unwrap_or_else(|| panic!("no policy at {place}"));
    let directives: Vec<&str> = policy.split(';').map(str::trim).collect();
    for directive in POLICY {
        assert!(directives.contains(directive), "{directive} at {place}");
    }
    assert!(!policy.contains("unsafe") && !policy.contains("http") && !policy.contains('*'), "{place}");
    assert!(value("access-control-allow-origin").is_none(), "{place}");
    assert!(value("permissions-policy").is_some(), "{place}");
    let for_everyone = ["/static/", "/favicon.ico", "/push-worker.js"];
    if !for_everyone.iter().any(|part| place.contains(part)) {
        assert_eq!(value("cache-control").as_deref(), Some("no-store"), "{place}");
    }
    for cookie in page.headers.get_all(header::SET_COOKIE) {
        let cookie = cookie.to_str().unwrap();
        for part in ["__Host-", "; Path=/", "; HttpOnly", "; SameSite=Lax", "; Secure"] {
            assert!(cookie.contains(part), "{part} is missing in the cookie at {place}");
        }
        assert!(!cookie.contains("Domain"), "{place}");
    }
}

#[tokio::test]
async fn every_answer_carries_the_headers_that_protect_it() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let mut streams = 0;
    for door in house.doors() {
        for visitor in [house.welcome(&door), Visitor::Nobody] {
            let page = house.knocks(&door, &house.cookie(visitor).await).await;
            streams += usize::from(page.headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind == STREAM));
            check_headers(&page, &format!("{} {} for {visitor:?}", door.method, house.address(&door)));
        }
    }
    assert!(streams >= 2, "no stream was met");
    let odd = [
        (Method::GET, "/no-such-page"),
        (Method::POST, "/no-such-page"),
        (Method::DELETE, "/queue"),
        (Method::OPTIONS, "/sign-in"),
        (Method::PUT, "/live"),
        (Method::GET, "/static/no-such-file.css"),
        (Method::GET, "/static/../Cargo.toml"),
        (Method::GET, "/%00"),
    ];
    for (method, path) in odd {
        let request = from_our_page(method.clone(), path, "").body(Body::empty()).unwrap();
        let page = send(&house.practice.router, request).await;
        assert!(page.status != StatusCode::INTERNAL_SERVER_ERROR, "{method} {path}");
        check_headers(&page, &format!("{method} {path}"));
        let is_nowhere = method == Method::GET && path.contains("no-such");
        assert!(!is_nowhere || page.status == StatusCode::NOT_FOUND, "{method} {path}: {}", page.status);
    }
}

const STREAM: &str = "text/event-stream";

#[tokio::test]
async fn a_fault_of_ours_carries_the_headers_too() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let cookies = [house.cookie(Visitor::Surgeon).await, house.cookie(Visitor::Phone).await];
    let queries =
        ["ALTER TABLE staff_session RENAME TO away", "ALTER TABLE patient_session RENAME TO away_too"];
    for sql in queries {
        sqlx::query(sql).execute(&mut *house.practice.books().await).await.unwrap();
    }
    for (path, cookie) in ["/queue", "/my"].into_iter().zip(&cookies) {
        let request = from_our_page(Method::GET, path, cookie).body(Body::empty()).unwrap();
        let page = send(&house.practice.router, request).await;
        assert_eq!(page.status, StatusCode::INTERNAL_SERVER_ERROR, "{path}");
        check_headers(&page, path);
    }
}

#[tokio::test]
async fn a_signed_out_session_and_a_stolen_shape_of_a_cookie_open_nothing() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let surgeon = house.cookie(Visitor::Surgeon).await;
    let leave = from_our_page(Method::POST, "/sign-out", &surgeon).body(Body::empty()).unwrap();
    let page = send(&house.practice.router, leave).await;
    assert_eq!(page.headers.get("clear-site-data").unwrap(), "\"cache\", \"storage\"");
    let phone_as_staff = house.phone.cookie.replace("-phone=", "-staff=");
    let staff_as_phone = house.surgeon.cookie.replace("-staff=", "-phone=");
    for door in house.doors() {
        let cookies = match door.who {
            Who::Anyone => continue,
            Who::Phone => vec![staff_as_phone.clone()],
            _ => vec![surgeon.clone(), phone_as_staff.clone(), "__Host-closewatch-staff=".to_owned()],
        };
        for cookie in cookies {
            let page = house.knocks(&door, &cookie).await;
            assert_ne!(answered(&door, &page), Answer::In, "{} {}", door.method, door.path);
        }
    }
}

#[tokio::test]
async fn a_staff_session_ends_after_a_quarter_hour_without_a_page_and_after_twelve_hours_with() {
    let place = Place::sqlite();
    let house = furnished(&place).await;
    let door = house.doors().into_iter().find(|door| door.who == Who::Lead && door.method == Method::GET);
    let door = door.expect("a lead has pages");
    let busy = house.cookie(Visitor::Lead).await;
    let idle = house.cookie(Visitor::Lead).await;
    house.practice.minutes_pass(14);
    let is_in = async |cookie: &str| {
        let page = house.knocks(&door, cookie).await;
        answered(&door, &page) == Answer::In
    };
    assert!(is_in(&busy).await);
    house.practice.minutes_pass(1);
    assert!(is_in(&busy).await);
    assert!(!is_in(&idle).await);
    for _ in 0..50 {
        house.practice.minutes_pass(14);
        assert!(is_in(&busy).await);
    }
    // 15 + 700 minutes have passed; twelve hours are 720.
    house.practice.minutes_pass(4);
    assert!(is_in(&busy).await);
    house.practice.minutes_pass(1);
    assert!(!is_in(&busy).await);
}

#[tokio::test]
async fn a_cookie_that_is_set_is_out_of_reach_of_scripts_and_of_other_sites() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let member = practice.hires("Sam Reed", Roles { office: true, ..Roles::default() }).await;
    let phone = practice.office().await.enrols("Mia Stone", &practice.surgeon().await).await;
    let mut pages = Vec::new();
    let fields = [("sign_in_name", member.sign_in_name.as_str()), ("password", support::PASSWORD)];
    pages.push(support::presses(&practice, "/sign-in", "", &fields).await);
    pages.push(support::presses(&practice, &format!("/k/{}", phone.issued.token.reveal()), "", &[]).await);
    pages.push(Staff::signs_in(&practice, member).await.presses("/sign-out", &[]).await);
    for page in pages {
        let set: Vec<&str> =
            page.headers.get_all(header::SET_COOKIE).iter().map(|line| line.to_str().unwrap()).collect();
        assert!(!set.is_empty());
        for line in set {
            assert!(line.starts_with("__Host-closewatch-"), "{line}");
            for needed in ["; Path=/", "; HttpOnly", "; SameSite=Lax", "; Secure"] {
                assert!(line.contains(needed), "{line}");
            }
            assert!(!line.to_lowercase().contains("domain="), "{line}");
        }
    }
}

#[tokio::test]
async fn password_fields_are_open_to_password_keepers_and_a_letter_of_the_other_size_is_another_letter() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let lead = practice.lead().await;
    for (path, kind) in [
        ("/sign-in", "current-password"),
        ("/me/sign-in", "current-password"),
        ("/me/sign-in", "new-password"),
        ("/practice/staff", "new-password"),
    ] {
        let html = lead.opens(path).await.html();
        let fields: Vec<&str> =
            support::tags(&html).into_iter().filter(|tag| tag.contains("type=\"password\"")).collect();
        assert!(fields.iter().any(|tag| tag.contains(&format!("autocomplete=\"{kind}\""))), "{path}");
        assert!(html.contains("/static/staff/reveal.js"), "{path}: what was typed can be shown");
        assert!(
            !html.contains("onpaste") && !html.contains("autocomplete=\"off\" type=\"password\""),
            "{path}"
        );
    }
    let name = lead.member.sign_in_name.clone();
    let tries = async |password: &str| {
        support::presses(&practice, "/sign-in", "", &[("sign_in_name", &name), ("password", password)]).await
    };
    let other_size = support::PASSWORD.to_uppercase();
    assert!(tries(&other_size).await.cookie().is_none());
    // A password does not run out.
    practice.minutes_pass(400 * 24 * 60);
    assert!(tries(support::PASSWORD).await.cookie().is_some());
}
