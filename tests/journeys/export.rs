//! A copy of one wound's episode leaves the house: what stands in the books stands in it, item by item; what is for staff only
//! does not stand in the patient's own; and every page, photo and file says who made it and when.

use std::collections::BTreeMap;
use std::io::Cursor;
use std::io::Read;

use axum::http::StatusCode;
use axum::http::header;
use sqlx::AssertSqlSafe;
use sqlx::Row;

use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::correction;
use closewatch::care::enrol;
use closewatch::care::enrol::Enrolment;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::knock::Knock;
use closewatch::care::late_knock;
use closewatch::care::plan;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::silence;
use closewatch::care::thread;
use closewatch::ids::SilenceCallId;
use closewatch::ids::WoundCheckId;
use closewatch::ids::WoundId;
use closewatch::plan::RiskFactors;
use closewatch::plan::StepKind;
use closewatch::store::Blobs;
use closewatch::store::antibiotics;
use closewatch::store::antibiotics::Culture;
use closewatch::store::antibiotics::CultureFits;
use closewatch::store::audit;
use closewatch::store::free_text::CANNOT_BE_READ;
use closewatch::store::late_knocks;
use closewatch::store::photos;
use closewatch::store::plan as plan_rows;
use closewatch::store::reviews;
use closewatch::store::silences;
use closewatch::store::silences::Interpreter;
use closewatch::store::silences::SilenceCall;
use closewatch::store::thread as thread_rows;
use closewatch::triage::Answers;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Said;
use closewatch::triage::Whom;
use closewatch::words::Language;

use crate::support::*;

/// What only staff may read, each planted where it belongs.
const FOR_STAFF: [&str; 13] = [
    "canary-note",
    "canary-second-note",
    "canary-attempt",
    "canary-handed-back",
    "canary-moved",
    "canary-asked",
    "canary-decided",
    "canary-ended",
    "canary-silence-call",
    "canary-stopped",
    "canary-culture",
    "canary-dealt",
    "canary-link",
];

const HOSTILE: &str = "\"><script>alert(1)</script>'&<img src=x onerror=alert(2)>\u{202E}txet";

/// A practice in which one wound has something of everything.
struct Ward {
    practice: Practice,
    surgeon: Staff,
    office: Staff,
    wound: WoundId,
    /// Of the first check.
    check: WoundCheckId,
}

async fn enrols(
    practice: &Practice,
    office: &Staff,
    surgeon: &Staff,
    name: &str,
    language: Language,
) -> Patient {
    let mut patient = person(name);
    patient.language = language;
    patient.helper_name = Some("Helper Ann".to_owned());
    let form = Enrolment {
        enrol_key: format!("key of {name}"),
        patient,
        surgeon: surgeon.member.id,
        operation: operation(practice.now()),
        risk: RiskFactors::default(),
    };
    let enrolled = enrol::enrol(practice.desk(), &office.member, form, &practice.moment()).await.unwrap();
    let issued = enrolled.issued.clone().unwrap();
    Patient { practice: practice.clone(), enrolled, issued }
}

fn deciding(decision: Decision, reply: &str, note: &str, ask: &str) -> Deciding {
    Deciding {
        decision,
        reply: reply.to_owned(),
        note: note.to_owned(),
        come_in: None,
        ask: ask.to_owned(),
        judged: None,
        antibiotic: None,
        extent: None,
    }
}

fn said(words: &str, pain: u8) -> Answers {
    Answers { pain: Said::Is(pain), ..with_words(words) }
}

async fn ward(practice: Practice, name: &str, language: Language) -> Ward {
    let (surgeon, office) = (practice.surgeon().await, practice.office().await);
    let patient = enrols(&practice, &office, &surgeon, name, language).await;
    let wound = patient.enrolled.wound.id;
    let phone = patient.opens_link().await;
    let desk = practice.desk().clone();

    let first = phone.sends("form 1", said("It itches at night", 3), &[photo(1), jpeg(2)]).await;
    practice.finds(square_wound(20.0, 6.0)).await;
    practice.minutes_pass(3);
    phone.sends("form 1", said("It itches by day, too", 4), &[]).await;
    let told = deciding(
        Decision::CallByOffice,
        "We ring you today.",
        FOR_STAFF[0],
        "Ask about the smell.\nSay: wash it",
    );
    review::decide(&desk, &surgeon.member, first.check, told, &practice.moment()).await.unwrap();
    practice.minutes_pass(20);
    let call = office.reads_callbacks().await.remove(0);
    office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
    practice.minutes_pass(30);
    let spoke = Attempting {
        note: FOR_STAFF[2].to_owned(),
        outcome: Some(CallOutcome::WillFollowAdvice),
        spoke_with: "her son Tom".to_owned(),
        ..Attempting::of(CallResult::Spoke)
    };
    callback::log_attempt(&desk, &office.member, call.callback.id, spoke, &practice.moment()).await.unwrap();

    practice.minutes_pass(24 * 60);
    let second = phone.sends("form 2", said(HOSTILE, 5), &[photo(3)]).await;
    let told = deciding(Decision::CallByOffice, "", FOR_STAFF[1], "Ring before noon.");
    review::decide(&desk, &surgeon.member, second.check, told, &practice.moment()).await.unwrap();
    let call = office.reads_callbacks().await.remove(0);
    callback::hand_back(&desk, &office.member, call.callback.id, FOR_STAFF[3], practice.now()).await.unwrap();
    let question = "May I swim with it?";
    thread::ask(&desk, &phone.holder().await, "ask 1", question, &practice.moment()).await.unwrap();
    let told = deciding(Decision::HealingAsExpected, "No swimming yet, please.", "", "");
    review::decide(&desk, &surgeon.member, second.check, told, &practice.moment()).await.unwrap();
    let about =
        Some(reviews::of_check(&mut *practice.books().await, practice.id, first.check).await.unwrap()[0].id);
    let moment = practice.moment();
    correction::add(&desk, &surgeon.member, first.check, None, "The itch was on the left.", &moment)
        .await
        .unwrap();
    correction::add(&desk, &surgeon.member, first.check, about, "The call was for tomorrow.", &moment)
        .await
        .unwrap();
    more_of_everything(&practice, &office, &surgeon, &patient).await;
    Ward {
        surgeon: Staff::signs_in(&practice, surgeon.member.clone()).await,
        practice,
        office,
        wound,
        check: first.check,
    }
}

/// The plan, a silence, an antibiotic, and a knock at a closed link.
async fn more_of_everything(practice: &Practice, office: &Staff, surgeon: &Staff, patient: &Patient) {
    let (desk, moment, wound) = (practice.desk(), practice.moment(), patient.enrolled.wound.id);
    let steps = plan_rows::steps(&mut *practice.books().await, practice.id, wound).await.unwrap();
    let last = steps.into_iter().rev().find(|kept| kept.step.kind == StepKind::Photo).unwrap();
    let due = last.step.due + jiff::SignedDuration::from_hours(24);
    plan::move_step(desk, &office.member, wound, last.id, due, FOR_STAFF[4], &moment).await.unwrap();

    let (silent, course) = goes_silent(practice, &office.member, wound).await;
    silence::ask_surgeon(desk, &office.member, silent, FOR_STAFF[5], &moment).await.unwrap();
    silence::decide(desk, &surgeon.member, silent, FOR_STAFF[6], &moment).await.unwrap();
    let call = SilenceCall {
        id: SilenceCallId::mint(&moment),
        practice: practice.id,
        silence: silent,
        staff: office.member.id,
        whom: Whom::SecondContact,
        result: CallResult::Spoke,
        spoke_with: "Helper Ann".into(),
        interpreter: Interpreter::Used,
        note: FOR_STAFF[8].into(),
        at: moment.now,
    };
    let mut tx = desk.db.write().await.unwrap();
    silences::insert_call(&mut tx, &call).await.unwrap();
    let mut kept = antibiotics::find(&mut tx, practice.id, course).await.unwrap().unwrap();
    kept.stopped = Some(moment.now);
    kept.stopped_why = FOR_STAFF[9].to_owned();
    kept.culture = Culture::Noted;
    kept.culture_result = FOR_STAFF[10].into();
    kept.culture_fits = Some(CultureFits::Resists);
    antibiotics::keep(&mut tx, &kept).await.unwrap();
    tx.commit().await.unwrap();
    silence::end(desk, &surgeon.member, silent, FOR_STAFF[7], &moment).await.unwrap();

    let (_, _, issued) =
        enrol::issue_link(desk, &office.member, wound, FOR_STAFF[12], &moment).await.unwrap();
    let door = AtTheDoor { initials: "QX", ..AtTheDoor::default() };
    let Knock::Open { token, .. } = knock::knock(desk, issued.token.reveal(), door, &moment).await.unwrap()
    else {
        panic!("it opens");
    };
    let other = Phone {
        patient: patient.clone(),
        cookie: format!("__Host-closewatch-phone={}", token.reveal()),
        token: token.reveal().to_owned(),
    };
    other.sends("form of another", said("From the other phone", 2), &[]).await;
    enrol::revoke_link(desk, &office.member, issued.link.id, moment.now).await.unwrap();
    knock::knock(desk, issued.token.reveal(), AtTheDoor::default(), &moment).await.unwrap();
    let late = late_knocks::waiting(&mut *practice.books().await, practice.id).await.unwrap().remove(0);
    late_knock::deal_with(desk, &office.member, late.id, FOR_STAFF[11], practice.now()).await.unwrap();
}

/// A zip as it was taken.
struct Taken {
    name: String,
    files: BTreeMap<String, Vec<u8>>,
}

impl Taken {
    fn html(&self) -> String {
        let pages: Vec<&Vec<u8>> =
            self.files.iter().filter(|(name, _)| name.ends_with(".html")).map(|(_, bytes)| bytes).collect();
        assert_eq!(pages.len(), 1, "one page");
        String::from_utf8(pages[0].clone()).unwrap()
    }

    fn words(&self) -> String {
        words_of(&self.html()).replace('\u{a0}', " ")
    }

    fn photos(&self) -> impl Iterator<Item = (&String, &Vec<u8>)> {
        self.files.iter().filter(|(name, _)| name.ends_with(".jpg"))
    }
}

fn unzip(name: &str, bytes: Vec<u8>) -> Taken {
    let mut read = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut files = BTreeMap::new();
    for place in 0..read.len() {
        let mut file = read.by_index(place).unwrap();
        let mut kept = Vec::new();
        file.read_to_end(&mut kept).unwrap();
        assert_eq!(file.compression(), zip::CompressionMethod::Stored);
        assert!(files.insert(file.name().to_owned(), kept).is_none(), "a name twice");
    }
    Taken { name: name.to_owned(), files }
}

impl Ward {
    async fn takes(&self, copy: &str) -> Taken {
        let page = self.surgeon.presses(&format!("/wounds/{}/copy", self.wound), &[("copy", copy)]).await;
        assert_eq!(page.status, StatusCode::OK, "{}", page.words());
        assert_eq!(page.headers[header::CONTENT_TYPE], "application/zip");
        let named = page.headers[header::CONTENT_DISPOSITION].to_str().unwrap();
        let name = named.strip_prefix("attachment; filename=\"").unwrap().strip_suffix('"').unwrap();
        unzip(name, page.body)
    }

    /// One column of every row of this wound in a table, read past the program.
    async fn column(&self, sql: &str) -> Vec<String> {
        let rows = sqlx::query(AssertSqlSafe(sql.to_owned()))
            .bind(self.wound.to_string())
            .fetch_all(&mut *self.practice.books().await)
            .await
            .unwrap();
        rows.iter().map(|row| row.try_get::<String, _>(0).unwrap()).collect()
    }

    async fn count(&self, table: &str) -> usize {
        self.column(&format!("SELECT id FROM {table} WHERE wound_id = $1")).await.len()
    }
}

/// Plain words as they stand on the page: one space between any two, as `words_of` has it.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test]
async fn what_stands_in_the_books_stands_in_the_patients_copy_item_by_item() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Mia Stone", Language::English).await;
    let taken = ward.takes("patient").await;
    let (html, words) = (taken.html(), taken.words());
    let says = |what: &str| assert!(words.contains(&plain(what)), "the copy does not say {what:?}:\n{words}");

    // Every message, and who wrote it.
    let ids = ward.column("SELECT id FROM message WHERE wound_id = $1").await;
    let mut books = ward.practice.books().await;
    let messages = thread_rows::of_wound(&mut books, ward.practice.id, ward.wound).await.unwrap();
    assert_eq!((messages.len(), ids.len()), (3, 3));
    for message in &messages {
        assert!(!message.body.is_empty() && ids.contains(&message.id.to_string()));
        says(&message.body);
    }
    drop(books);
    // Every word that was ever typed into a check, amended ones too.
    for written in ["It itches at night", "It itches by day, too", HOSTILE, "From the other phone"] {
        says(written);
    }
    let versions = ward
        .column(
            "SELECT answers_version.id FROM answers_version JOIN wound_check ON wound_check.id = check_id \
             WHERE wound_id = $1",
        )
        .await;
    assert_eq!(words.matches("Question Your answer").count(), versions.len(), "a table for each version");
    // Every check by its receipt, and every step of the plan.
    let receipts = ward.column("SELECT receipt FROM wound_check WHERE wound_id = $1").await;
    assert_eq!(receipts.len(), 3);
    receipts.iter().for_each(|receipt| says(&format!("Number of this check: {receipt}")));
    let plan_rows = html.split("Your care plan").nth(1).unwrap().split("</tbody>").next().unwrap();
    assert_eq!(plan_rows.matches("<tr>").count(), 1 + ward.count("plan_step").await);
    assert_eq!(words.matches("Moved from").count(), ward.count("plan_change").await);
    // Every try at a call, those about the silence too, and what was told.
    let attempts = ward
        .column(
            "SELECT call_attempt.id FROM call_attempt JOIN callback ON callback.id = callback_id WHERE wound_id = $1 \
             UNION ALL SELECT silence_call.id FROM silence_call JOIN silence ON silence.id = silence_id WHERE wound_id = $1",
        )
        .await;
    let told = words.matches("We called you.").count() + words.matches("We called who helps you.").count();
    assert_eq!((told, attempts.len()), (4, 4));
    for what in
        ["Ask about the smell.", "Say: wash it", "On the phone: her son Tom", "You will do as you were told."]
    {
        says(what);
    }
    assert!(!words.contains("Ring before noon."), "nobody rang about it");
    // Every decision, every correction beside its original.
    for what in
        ["The office calls you.", "It heals as it should.", "We ring you today.", "No swimming yet, please."]
    {
        says(what);
    }
    assert_eq!(words.matches("Corrected by Dr. Rosa Lind:").count(), ward.count("correction").await);
    says("The itch was on the left.");
    says("The call was for tomorrow.");
    // Antibiotics, and the measurement with how far it can be off.
    for what in ["cephalexin", "4 times a day", "For 7 days"] {
        says(what);
    }
    for what in ["Size of the wound: 4.0 cm² (3.8–4.2)", "Red skin past the edge: 6.0 mm (5.7–6.3)"] {
        says(what);
    }
    assert_eq!(
        words.matches("Measured by the program. It can be wrong.").count(),
        2,
        "the two of the first check"
    );
    for what in ["Mia Stone", "1961-04-17", "202-555-0143", "abscess drained", "Helper Ann"] {
        says(what);
    }
}

#[tokio::test]
async fn every_photo_is_in_the_copy_with_its_pixels_untouched_and_a_margin_under_it() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Mia Stone", Language::English).await;
    let taken = ward.takes("patient").await;
    let ids = ward
        .column(
            "SELECT photo.id FROM photo JOIN wound_check ON wound_check.id = check_id WHERE wound_id = $1",
        )
        .await;
    assert_eq!((ids.len(), taken.photos().count()), (3, 3));
    let html = taken.html();
    for (name, _) in taken.photos() {
        assert!(html.contains(&format!("href=\"{name}\"")), "{name} is not named in the page");
        assert!(name.starts_with("photos/") && name.ends_with("-by-dr-rosa-lind.jpg"), "{name}");
    }
    let blobs: &Blobs = &ward.practice.desk().blobs;
    let mut books = ward.practice.books().await;
    let mut found = 0;
    for id in ids {
        let row = photos::find(&mut books, ward.practice.id, id.parse().unwrap()).await.unwrap().unwrap();
        let kept =
            blobs.get(&mut books, ward.practice.id, &row.renditions.unwrap().full).await.unwrap().unwrap();
        let kept = image::load_from_memory(&kept).unwrap().into_rgb8();
        let untouched = (3 * kept.width() * (kept.height() - 2)) as usize;
        found += taken
            .photos()
            .map(|(_, bytes)| image::load_from_memory(bytes).unwrap().into_rgb8())
            .filter(|copy| {
                copy.width() == kept.width()
                    && copy.height() >= kept.height() + 16
                    && copy.as_raw()[..untouched] == kept.as_raw()[..untouched]
            })
            .count();
    }
    assert_eq!(found, 3, "each kept photo is the upper part of one in the copy");
    // The small pictures are in the page itself: nothing is fetched, and they carry the margin too.
    let small: Vec<&str> = html.split("src=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert_eq!(small.len(), 3);
    for address in small {
        let bytes = data_encoding::BASE64
            .decode(address.strip_prefix("data:image/jpeg;base64,").unwrap().as_bytes())
            .unwrap();
        let picture = image::load_from_memory(&bytes).unwrap().into_rgb8();
        let below: Vec<_> = picture.rows().rev().take(40).flatten().collect();
        let (dark, light) =
            (below.iter().filter(|p| p.0[1] < 90).count(), below.iter().filter(|p| p.0[1] > 240).count());
        assert!(dark > 100 && light > 5 * dark, "no lettering under it: {dark} dark, {light} light");
    }
}

#[tokio::test]
async fn who_made_the_copy_and_when_stands_on_the_page_and_in_every_name() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Mia Stone", Language::English).await;
    let taken = ward.takes("patient").await;
    // Two days after eleven in the morning of the 10th, by the practice's own clock.
    let stamp = "2026-03-11-1153-by-dr-rosa-lind";
    assert!(taken.name.ends_with(&format!("{stamp}.zip")), "{}", taken.name);
    assert!(taken.name.starts_with("patient-copy-"), "{}", taken.name);
    assert!(taken.files.keys().all(|name| name.contains(stamp)), "{:?}", taken.files.keys());
    let made = "Copy made by Dr. Rosa Lind, Harbor Surgery: March 11, 2026, 11:53 am";
    let html = taken.html().replace('\u{a0}', " ");
    // A table's head is what browsers repeat at the top of every printed page.
    let head = html.split("<thead").nth(1).unwrap().split("</thead>").next().unwrap();
    assert!(head.contains(made), "{head}");
    assert!(!taken.name.contains("stone"), "a patient's name is in no file's name");
}

#[tokio::test]
async fn the_patients_copy_holds_nothing_that_is_for_staff_and_the_record_holds_all_of_it() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Mia Stone", Language::English).await;
    let (own, record) = (ward.takes("patient").await, ward.takes("record").await);
    let (own_words, record_words) = (own.words(), record.words());
    for canary in FOR_STAFF {
        assert!(record_words.contains(canary), "the record lost {canary}");
        assert!(!own.html().contains(canary), "{canary} is in the patient's copy");
    }
    for of_the_ranking in ["Score", "Urgency", "Protocol", "QX", "Note for staff", "took a copy of"] {
        assert!(!own_words.contains(of_the_ranking), "{of_the_ranking} is in the patient's copy");
        assert!(record_words.contains(of_the_ranking), "{of_the_ranking} is not in the record");
    }
    let rules = ward
        .column("SELECT assessment.assessment FROM assessment JOIN wound_check ON wound_check.id = check_id WHERE wound_id = $1")
        .await;
    for assessment in &rules {
        let read: serde_json::Value = serde_json::from_str(assessment).unwrap();
        for reason in read["reasons"].as_array().unwrap() {
            let rule = reason["rule_id"].as_str().unwrap();
            assert!(record_words.contains(&format!("rule {rule}")), "{rule}");
            assert!(!own_words.contains(&format!("rule {rule}")), "{rule}");
        }
    }
    assert_eq!(record_words.matches("Ranking ").count(), rules.len(), "every assessment");
    // Who looked: every line about this patient, and of nobody else.
    assert!(record_words.contains("Dr. Rosa Lind took a copy of wound"));
    assert!(record.name.starts_with("whole-record-"));
    assert!(
        record_words.contains("The ranking is a sorting aid for licensed clinicians, never a diagnosis.")
    );
}

#[tokio::test]
async fn the_copy_of_somebody_who_reads_spanish_is_in_spanish() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Inés Núñez", Language::Spanish).await;
    let taken = ward.takes("patient").await;
    let (html, words) = (taken.html(), taken.words());
    assert!(html.contains("<html lang=\"es\">"));
    for spanish in [
        "Su herida: copia de su expediente",
        "Copia hecha por Dr. Rosa Lind, Harbor Surgery: 11 de marzo de 2026, 11:53 a. m.",
        "Inés Núñez",
        "¿Dolor ahora en reposo? 3",
        "Tamaño de la herida: 4.0 cm² (3.8–4.2)",
        "Le llamamos.",
        "Fin de la copia",
    ] {
        assert!(words.contains(spanish), "{spanish}:\n{words}");
    }
    for english in ["Your answer", "Photo 1", "Copy made by", "We called you"] {
        assert!(!words.contains(english), "{english}");
    }
    assert!(!words.contains("m.."), "no time is followed by a full stop of its own");
    // The record is the practice's, in the practice's language.
    assert!(ward.takes("record").await.html().contains("<html lang=\"en\">"));
}

/// Turns a bit of every text of a column, as a broken disk would: none of them opens any more. How many there were.
async fn open_no_more(practice: &Practice, table: &str, column: &str) -> usize {
    let sql = format!("SELECT id, {column}_sealed AS sealed FROM {table} WHERE {column}_sealed IS NOT NULL");
    let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *practice.books().await).await.unwrap();
    let mut tx = practice.desk().db.write().await.unwrap();
    for row in &rows {
        let mut sealed: Vec<u8> = row.try_get("sealed").unwrap();
        *sealed.last_mut().unwrap() ^= 1;
        let sql = format!("UPDATE {table} SET {column}_sealed = $1 WHERE id = $2");
        let query =
            sqlx::query(AssertSqlSafe(sql)).bind(sealed).bind(row.try_get::<String, _>("id").unwrap());
        assert_eq!(query.execute(&mut *tx).await.unwrap().rows_affected(), 1);
    }
    tx.commit().await.unwrap();
    rows.len()
}

#[tokio::test]
async fn words_that_cannot_be_read_are_said_to_be_so_in_the_patients_own_language() {
    on_each_engine(async |practice| {
        let ward = ward(practice.clone(), "Inés Núñez", Language::Spanish).await;
        let mut broken = Vec::new();
        for (table, column) in [
            ("message", "body"),
            ("correction", "words"),
            ("wound_check", "words"),
            ("answers_version", "words"),
            ("callback", "ask"),
            ("call_attempt", "spoke_with"),
            ("silence_call", "spoke_with"),
            ("antibiotic_course", "drug"),
            ("wound", "typed"),
        ] {
            broken.push(open_no_more(&practice, table, column).await);
        }
        let [messages, corrections, checks, versions, asks, spoke, of_silence, drugs, wounds] = broken[..]
        else {
            unreachable!()
        };
        assert_eq!((messages, corrections, checks, versions, asks), (3, 2, 3, 4, 2));
        assert_eq!((spoke, of_silence, drugs, wounds), (1, 1, 1, 1));
        let own = ward.takes("patient").await.words();
        assert!(!own.contains(CANNOT_BE_READ) && !own.contains("back-up"), "{own}");
        let says = "Ahora no se pueden mostrar estas palabras. Llame al 202-555-0100 y pregunte.";
        // Both answers stand beside their decisions, too; what a check was changed from stands behind it; of the two calls one
        // was made.
        let expected = (messages + 2)
            + corrections
            + checks
            + (versions - checks)
            + (asks - 1)
            + spoke
            + of_silence
            + drugs
            + wounds;
        assert_eq!(own.matches(says).count(), expected, "{own}");
        let record = ward.takes("record").await.words();
        assert!(record.contains(CANNOT_BE_READ) && !record.contains(says));
        // Of the check as it stands, too: nobody takes it for one without words.
        assert!(record.matches(CANNOT_BE_READ).count() > expected, "{record}");
    })
    .await;
}

#[tokio::test]
async fn hostile_text_and_long_names_are_text_in_the_page_and_harmless_in_names() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let name = format!("{} {HOSTILE}", "Wolfeschlegelsteinhausenbergerdorff".repeat(3));
    let mut ward = ward(practice.clone(), &name, Language::English).await;
    let long = format!("Dr. {} ../../{HOSTILE}", "Llanfairpwllgwyngyll".repeat(8));
    let roles = closewatch::store::staff::Roles { surgeon: true, ..Default::default() };
    ward.surgeon = practice.staff(&long, roles).await;
    let taken = ward.takes("record").await;
    let html = taken.html();
    assert!(!html.contains("<script") && !html.contains("<img src=x") && !html.contains("javascript:"));
    assert!(taken.words().contains(&plain(HOSTILE)));
    assert!(taken.words().contains("Wolfeschlegelsteinhausenbergerdorff"));
    for file in taken.files.keys().chain([&taken.name]) {
        let plain = |letter: char| letter.is_ascii_alphanumeric() || "-./".contains(letter);
        assert!(file.chars().all(plain) && !file.contains("..") && file.len() < 150, "{file}");
    }
    // The longest name is broken over lines of the margin, never cut.
    for (name, bytes) in taken.photos() {
        assert!(image::load_from_memory(bytes).is_ok(), "{name}");
    }
}

#[tokio::test]
async fn only_a_surgeon_of_the_practice_takes_a_copy_and_only_after_the_second_step_anew() {
    on_each_engine(async |practice| {
        let ward = ward(practice.clone(), "Mia Stone", Language::English).await;
        let path = format!("/wounds/{}/copy", ward.wound);
        let lead = practice.lead().await;
        for other in [&ward.office, &lead] {
            let other = Staff::signs_in(&practice, other.member.clone()).await;
            let page = other.presses(&path, &[("copy", "patient")]).await;
            assert_eq!(page.status, StatusCode::FORBIDDEN);
            page.must_say("Not part of your role");
        }
        let stranger = practice.neighbour().await.surgeon().await;
        assert_eq!(stranger.presses(&path, &[("copy", "record")]).await.status, StatusCode::NOT_FOUND);
        practice.minutes_pass(6);
        let asked = ward.surgeon.presses(&path, &[("copy", "record")]).await;
        assert_eq!(asked.status, StatusCode::FORBIDDEN);
        asked.must_say("Show once more that it is you");
        assert_eq!(asked.field("held_body").as_deref(), Some("copy=record"));
        let fresh = Staff::signs_in(&practice, ward.surgeon.member.clone()).await;
        let page = fresh.presses(&path, &[("copy", "record")]).await;
        assert_eq!(page.status, StatusCode::OK);
        let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
        let made: Vec<_> = lines.iter().filter(|line| line.action == "export.make").collect();
        assert_eq!(made.len(), 1, "what was refused is no copy");
        assert_eq!(made[0].subject, format!("wound:{}", ward.wound));
        assert_eq!(made[0].detail, "copy=record checks=3 photos=3");
        assert_eq!(made[0].actor, format!("staff:{}", ward.surgeon.member.id));
    })
    .await;
}

#[tokio::test]
async fn a_photo_that_cannot_be_read_is_said_to_be_missing_and_the_rest_is_whole() {
    let place = Place::sqlite();
    let ward = ward(Practice::open(&place).await, "Mia Stone", Language::English).await;
    let row = photos::of_check(&mut *ward.practice.books().await, ward.practice.id, ward.check)
        .await
        .unwrap()
        .remove(0);
    let name = row.renditions.unwrap().full.to_string();
    let mut books = ward.practice.books().await;
    let sealed: String = sqlx::query("SELECT sealed_sha256 FROM sealed_blob WHERE sha256 = $1")
        .bind(&name)
        .fetch_one(&mut *books)
        .await
        .unwrap()
        .try_get(0)
        .unwrap();
    drop(books);
    let gone = files_under(&place.folder.path().join("photos"))
        .into_iter()
        .find(|path| path.to_string_lossy().contains(&sealed));
    std::fs::remove_file(gone.expect("the photo's file")).unwrap();
    let taken = ward.takes("patient").await;
    assert_eq!(taken.photos().count(), 2);
    assert!(taken.words().contains("This photo could not be put in the copy. Ask us for it."));
    assert!(taken.words().contains("May I swim with it?"));
}

fn files_under(folder: &std::path::Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => found.extend(files_under(&path)),
            false => found.push(path),
        }
    }
    found
}

#[tokio::test]
async fn a_correction_stands_beside_the_original_wherever_it_is_shown() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let phone = patient.opens_link().await;
        let check = phone.sends("form", with_words("It was the right leg."), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "Fine as it is.").await.unwrap();
        let path = format!("/checks/{check}/correct");
        for (words, fault) in
            [("  ", "Write what is corrected."), (&"x".repeat(1_001), "Shorten the correction")]
        {
            let page = surgeon.presses(&path, &[("about", ""), ("words", words)]).await;
            assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
            page.must_say(fault);
        }
        assert_eq!(office.presses(&path, &[("words", "ours")]).await.status, StatusCode::FORBIDDEN);
        let elsewhere = practice.neighbour().await.surgeon().await;
        assert_eq!(elsewhere.presses(&path, &[("words", "ours")]).await.status, StatusCode::NOT_FOUND);
        let shown = surgeon.opens(&format!("/checks/{check}")).await;
        shown.must_say("Nobody is told of it.").must_say("Then send an answer: that one they are told of.");
        let told = notices_kept(&practice).await;
        let noted = surgeon.presses(&path, &[("about", ""), ("words", "It was the left leg.")]).await;
        assert_eq!(noted.leads_to(), format!("/checks/{check}#corrections"));
        let review = reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap()[0]
            .id
            .to_string();
        surgeon.presses(&path, &[("about", &review), ("words", "Not fine: come on Monday.")]).await.is_fine();

        let shown = surgeon.opens(&format!("/checks/{check}")).await;
        shown.must_say("It was the left leg.").must_say("It was the right leg.");
        shown
            .must_say("Corrected, about “Healing as expected” — Dr. Rosa Lind")
            .must_say("Not fine: come on Monday.");
        let wound = patient.enrolled.wound.id;
        office.opens(&format!("/wounds/{wound}/hand-off")).await.must_say("It was the left leg.");
        let own = format!("/patients/{}", patient.enrolled.patient.id);
        surgeon.opens(&own).await.must_say("answered; corrected");
        phone.types_pin().await;
        let read = phone.opens("/my/answers").await;
        read.must_say("About your wound check of Tuesday, March 10. Corrected by Dr. Rosa Lind:")
            .must_say(
                "About the answer to your wound check of Tuesday, March 10. Corrected by Dr. Rosa Lind:",
            )
            .must_say("It was the left leg.")
            .must_say("Fine as it is.");
        let lines = actions(&practice).await;
        assert_eq!(lines.iter().filter(|action| *action == "correction.add").count(), 2);
        // What the form says is so: nothing goes out about it.
        assert_eq!(notices_kept(&practice).await, told);
    })
    .await;
}

async fn notices_kept(practice: &Practice) -> usize {
    rows_of(&mut *practice.books().await, practice.id).await["notice"].len()
}

#[tokio::test]
async fn a_correction_says_in_spanish_too_which_check_it_is_about() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone =
        enrols(&practice, &office, &surgeon, "Inés Núñez", Language::Spanish).await.opens_link().await;
    let check = phone.sends("form", with_words("Era la pierna derecha."), &[]).await.check;
    surgeon.decides(check, Decision::HealingAsExpected, "Va bien.").await.unwrap();
    practice.minutes_pass(3 * 24 * 60);
    let review = reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap()[0].id;
    for about in [None, Some(review)] {
        let moment = practice.moment();
        correction::add(practice.desk(), &surgeon.member, check, about, "Era la izquierda.", &moment)
            .await
            .unwrap();
    }
    phone.types_pin().await;
    phone
        .opens("/my/answers")
        .await
        .must_say("Sobre su revisión del martes 10 de marzo. Corregido por Dr. Rosa Lind:")
        .must_say("Sobre la respuesta a su revisión del martes 10 de marzo. Corregido por Dr. Rosa Lind:");
}
