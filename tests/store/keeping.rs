//! What has been kept for long enough goes, row by row, and nothing else does; holds, gaps and kills change nothing of that.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;

use data_encoding::HEXLOWER;
use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::TimeZone;
use sha2::Digest;
use sha2::Sha256;
use sqlx::AssertSqlSafe;
use sqlx::Row;

use closewatch::care::CareError;
use closewatch::care::backup::noted;
use closewatch::care::calendar;
use closewatch::care::check_draft;
use closewatch::care::check_draft::StepTyped;
use closewatch::care::correction;
use closewatch::care::enrol;
use closewatch::care::keeping;
use closewatch::care::keeping::Pass;
use closewatch::care::keeping::Placing;
use closewatch::care::keeping::Release;
use closewatch::care::keeping::Typed;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::late_knock;
use closewatch::care::measuring;
use closewatch::care::measuring::Method;
use closewatch::care::phone_push;
use closewatch::care::plan;
use closewatch::care::silence;
use closewatch::care::strip_out;
use closewatch::care::sweep;
use closewatch::ids::Chance;
use closewatch::ids::LegalHoldId;
use closewatch::ids::StaffAddressId;
use closewatch::plan::EndWhy;
use closewatch::plan::OutPress;
use closewatch::plan::StepKind;
use closewatch::store::BlobName;
use closewatch::store::Blobs;
use closewatch::store::Engine;
use closewatch::store::KeptBlob;
use closewatch::store::StoreError;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::addresses::StaffAddress;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::audit;
use closewatch::store::audit_chain::Flaw;
use closewatch::store::audit_chain::RecordHead;
use closewatch::store::keyring::KeyRing;
use closewatch::store::keyring::SealFault;
use closewatch::store::late_knocks;
use closewatch::store::legal_holds;
use closewatch::store::legal_holds::LegalHold;
use closewatch::store::plan as plan_rows;
use closewatch::store::practices;
use closewatch::store::purge;
use closewatch::store::sealed_blobs;
use closewatch::store::server;
use closewatch::store::server::Noted;
use closewatch::store::staff::Roles;
use closewatch::store::tombstones;
use closewatch::store::tombstones::Gone;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;

use crate::support::Patient;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::TABLES;
use crate::support::goes_silent;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::rows_of;
use crate::support::until_killed;

/// Fifteen years; minors until 21 and ten more; the record six years; messages 90 days, passing things 3.
fn fifteen_years() -> Typed {
    let text = |number: u32| number.to_string();
    Typed {
        clinical_years: text(15),
        minor_age: text(21),
        minor_years: text(10),
        record_years: text(6),
        letters_days: text(90),
        passing_days: text(3),
        is_confirmed: true,
    }
}

type Rows = BTreeMap<String, Vec<String>>;

async fn rows(practice: &Practice) -> Rows {
    rows_of(&mut *practice.books().await, practice.id).await
}

async fn sql(practice: &Practice, sql: &str) {
    let mut tx = practice.desk().db.write().await.unwrap();
    sqlx::query(AssertSqlSafe(sql.to_owned())).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

/// Sets the clock to an hour of a day in the practice's own zone.
fn it_becomes(practice: &Practice, (year, month, day): (i16, i8, i8), hour: i8) {
    let zone = TimeZone::get("America/New_York").unwrap();
    let then = date(year, month, day).at(hour, 0, 0, 0).to_zoned_datetime(zone).unwrap().timestamp();
    practice.app.clock.pass(then.duration_since(practice.now()));
}

/// Looks, as the daily job does, until nothing more is due.
async fn looks(practice: &Practice) {
    let found = practices::find(&mut *practice.books().await, practice.id).await.unwrap().unwrap();
    while keeping::pass(practice.desk(), &found, &practice.moment()).await.unwrap() == Pass::More {}
}

/// The look after years in which nobody looked makes everything wait for a week; this is eight days before the day.
async fn looks_eight_days_before(practice: &Practice, (year, month, day): (i16, i8, i8)) {
    it_becomes(practice, (year, month, day), 4);
    practice.app.clock.pass(SignedDuration::from_hours(-8 * 24));
    looks(practice).await;
    practice.app.clock.pass(SignedDuration::from_hours(4 * 24));
    looks(practice).await;
}

struct People {
    office: Staff,
    surgeon: Staff,
    lead: Staff,
}

async fn people(practice: &Practice) -> People {
    People { office: practice.office().await, surgeon: practice.surgeon().await, lead: practice.lead().await }
}

/// A patient with one answered check, born on that day.
async fn lived(
    practice: &Practice,
    people: &People,
    name: &str,
    born: &str,
    pictures: &[Vec<u8>],
) -> Patient {
    let patient = people.office.enrols(name, &people.surgeon).await;
    let id = patient.enrolled.patient.id;
    let digits: String =
        id.to_string().bytes().rev().take(7).map(|byte| char::from(b'0' + byte % 10)).collect();
    sql(practice, &format!("UPDATE patient SET born = '{born}', phone = '202{digits}' WHERE id = '{id}'"))
        .await;
    let phone = patient.opens_link().await;
    let check = phone.sends(&format!("form of {name}"), no_danger(), pictures).await.check;
    people.surgeon.decides(check, Decision::HealingAsExpected, "It heals well.").await.unwrap();
    patient
}

async fn ends(people: &People, patient: &Patient) {
    let (desk, moment) = (people.office.practice.desk(), people.office.practice.moment());
    let wound = patient.enrolled.wound.id;
    plan::end(desk, &people.office.member, wound, EndWhy::Transferred, "moved away", &moment).await.unwrap();
    // Whatever the watch began about them meanwhile was seen to.
    let now = moment.now.as_millisecond();
    for seen_to in [
        format!(
            "UPDATE silence SET state = 'ended', ended_ms = {now} WHERE wound_id = '{wound}' AND state = 'open'"
        ),
        format!("UPDATE ladder SET state = 'replaced', ended_ms = {now} WHERE state = 'running'"),
        format!("UPDATE alarm SET ended_ms = {now} WHERE ended_ms IS NULL"),
    ] {
        sql(&people.office.practice, &seen_to).await;
    }
}

/// A row in every table that can be a patient's, and all of it dealt with.
async fn lived_through_everything(practice: &Practice, people: &People, name: &str) -> Patient {
    let (desk, office) = (practice.desk(), &people.office.member);
    let patient = lived(practice, people, name, "1961-04-17", &[jpeg(1), jpeg(2)]).await;
    let (phone, wound) = (patient.opens_link().await, patient.enrolled.wound.id);
    measuring::next(desk, &Method::default(), &practice.moment()).await.unwrap();
    let called = phone.sends("to be called", no_danger(), &[]).await.check;
    people.surgeon.decides(called, Decision::CallByOffice, "We will ring you.").await.unwrap();
    let call = people.office.reads_callbacks().await.remove(0);
    people.office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
    people.office.rings(&call, CallResult::Spoke, Some(CallOutcome::WillFollowAdvice)).await.unwrap();
    let urgent = phone.sends("urgent", in_danger(), &[jpeg(3)]).await.check;
    practice.works().await;
    people.surgeon.decides(urgent, Decision::HealingAsExpected, "All is well.").await.unwrap();
    practice.minutes_pass(1);
    practice.works().await;
    let moment = practice.moment();
    let steps = plan_rows::steps(&mut *practice.books().await, practice.id, wound).await.unwrap();
    let last = steps.into_iter().rev().find(|kept| kept.step.kind == StepKind::Photo).unwrap();
    let due = last.step.due + SignedDuration::from_hours(24);
    plan::move_step(desk, office, wound, last.id, due, "a holiday", &moment).await.unwrap();
    let holder = phone.holder().await;
    strip_out::press(desk, &holder, OutPress::TookPill, &moment).await.unwrap();
    calendar::make(desk, &holder, &moment).await.unwrap();
    phone_push::tell(desk, &holder, &phone.token, "{}", &moment).await.unwrap();
    let typed = StepTyped {
        form_key: "half filled",
        step: "pain",
        names: &["pain"],
        fields: vec![("pain".to_owned(), "3".to_owned())],
        shown: vec!["pain".to_owned()],
    };
    check_draft::keep(desk, &holder, &phone.token, typed, moment.now).await.unwrap();
    correction::add(desk, &people.surgeon.member, called, None, "It was the left side.", &moment)
        .await
        .unwrap();
    let (silent, _) = goes_silent(practice, office, wound).await;
    silence::end(desk, &people.surgeon.member, silent, "they came by", &moment).await.unwrap();
    let (_, _, spare) = enrol::issue_link(desk, office, wound, "lost", &moment).await.unwrap();
    enrol::revoke_link(desk, office, spare.link.id, moment.now).await.unwrap();
    knock::knock(desk, spare.token.reveal(), AtTheDoor::default(), &moment).await.unwrap();
    let late = late_knocks::waiting(&mut *practice.books().await, practice.id).await.unwrap().remove(0);
    late_knock::deal_with(desk, office, late.id, "rang them", moment.now).await.unwrap();
    let mut tx = desk.db.write().await.unwrap();
    let about = format!("check:{urgent}");
    alarms::raise(&mut tx, practice.id, AlarmKind::Unopened, &about, &moment).await.unwrap();
    alarms::end(&mut tx, practice.id, AlarmKind::Unopened, &about, moment.now).await.unwrap();
    let hold = LegalHold {
        id: LegalHoldId::mint(&moment),
        practice: practice.id,
        patient: Some(patient.enrolled.patient.id),
        reason: "A letter of 3 March.".into(),
        placed_by: people.lead.member.id,
        placed: moment.now,
        asked: None,
        released: None,
    };
    legal_holds::insert(&mut tx, &hold).await.unwrap();
    let first = people.lead.member.id;
    assert!(legal_holds::note_asked(&mut tx, practice.id, hold.id, first, moment.now).await.unwrap());
    let second = people.surgeon.member.id;
    assert!(legal_holds::release(&mut tx, practice.id, hold.id, second, moment.now).await.unwrap());
    let found = closewatch::store::patients::find(&mut tx, practice.id, patient.enrolled.patient.id).await;
    let number = found.unwrap().unwrap().phone;
    addresses::opt_out(&mut tx, practice.id, Reached::Sms, &number, moment.now).await.unwrap();
    tx.commit().await.unwrap();
    patient
}

/// What a column of a row holds; ids, codes and numbers only.
fn column<'a>(line: &'a str, name: &str) -> &'a str {
    let at = if line.starts_with(&format!("{name}=")) {
        0
    } else {
        match line.find(&format!(" {name}=")) {
            Some(at) => at + 1,
            None => return "",
        }
    };
    line[at + name.len() + 1..].split(' ').next().unwrap()
}

fn whole(line: &str, name: &str) -> i64 {
    column(line, name).parse().unwrap_or(i64::MAX)
}

/// What points at something, by column.
const POINTERS: [&str; 11] = [
    "patient_id",
    "wound_id",
    "check_id",
    "link_id",
    "photo_id",
    "callback_id",
    "silence_id",
    "notice_id",
    "ladder_id",
    "review_id",
    "step_id",
];
/// Nobody's in particular, or kept by other rules.
const NOT_THEIRS: [&str; 6] = ["audit", "tombstone", "purged_file", "keeping", "practice", "staff"];

/// The rows of these patients, found by following what points at what: another way than the program's.
fn rows_of_patients(before: &Rows, patients: &[&Patient]) -> Rows {
    let mut ids: BTreeSet<String> =
        patients.iter().map(|patient| patient.enrolled.patient.id.to_string()).collect();
    let mut theirs = Rows::new();
    loop {
        let known = ids.len();
        theirs.clear();
        for (table, lines) in before.iter().filter(|(table, _)| !NOT_THEIRS.contains(&table.as_str())) {
            for line in lines {
                let about = match table.as_str() {
                    "notice" => column(line, "recipient"),
                    "ladder" | "alarm" | "job" => column(line, "about"),
                    _ => "",
                };
                let about = about.rsplit(':').next().unwrap();
                let points = POINTERS.iter().any(|name| ids.contains(column(line, name)));
                if points || ids.contains(about) || table == "patient" && ids.contains(column(line, "id")) {
                    ids.insert(column(line, "id").to_owned());
                    ids.remove("");
                    theirs.entry(table.clone()).or_default().push(line.clone());
                }
            }
        }
        if ids.len() == known {
            break;
        }
    }
    let names = |lines: &[String]| -> BTreeSet<String> {
        let columns = ["full_sha256", "review_sha256", "small_sha256"];
        lines.iter().flat_map(|line| columns.map(|name| column(line, name).to_owned())).collect()
    };
    let (own, all) = (theirs.get("photo").cloned().unwrap_or_default(), &before["photo"]);
    let others: Vec<String> = all.iter().filter(|line| !own.contains(line)).cloned().collect();
    let (own, others) = (names(&own), names(&others));
    let blobs = before["sealed_blob"]
        .iter()
        .filter(|line| own.contains(column(line, "sha256")) && !others.contains(column(line, "sha256")));
    let blobs: Vec<String> = blobs.cloned().collect();
    theirs.insert("sealed_blob".to_owned(), blobs);
    let gone = theirs.get("patient").cloned().unwrap_or_default();
    let has = |line: &String, number: &str| column(line, "phone") == number;
    let stops = before["opt_out"].iter().filter(|stop| {
        let number = column(stop, "address");
        gone.iter().any(|line| has(line, number))
            && !before["patient"].iter().any(|line| has(line, number) && !gone.contains(line))
    });
    let stops: Vec<String> = stops.cloned().collect();
    theirs.insert("opt_out".to_owned(), stops);
    theirs.retain(|_, lines| !lines.is_empty());
    theirs
}

/// The rows that go by the other rules.
fn rows_by_age(before: &Rows, now: Timestamp) -> Rows {
    let days = |days: i64| (now - SignedDuration::from_hours(24 * days)).as_millisecond();
    let old = |table: &str, column: &str, before_ms: i64| -> Vec<String> {
        before[table].iter().filter(|line| whole(line, column) < before_ms).cloned().collect()
    };
    let mut old_rows = Rows::new();
    let mut notices = old("notice", "due_ms", days(90));
    let is_alarmed = |id: &str| {
        let about = format!("notice:{id}");
        before["alarm"]
            .iter()
            .any(|line| column(line, "about") == about && column(line, "ended_ms") == "NULL")
    };
    notices.retain(|line| column(line, "state") != "waiting" && !is_alarmed(column(line, "id")));
    let ids: Vec<&str> = notices.iter().map(|line| column(line, "id")).collect();
    let letters = before["delivery"].iter().filter(|line| ids.contains(&column(line, "notice_id")));
    old_rows.insert("delivery".to_owned(), letters.cloned().collect());
    old_rows.insert("notice".to_owned(), notices);
    let mut jobs = old("job", "ended_ms", days(90));
    jobs.retain(|line| column(line, "state") != "waiting");
    old_rows.insert("job".to_owned(), jobs);
    old_rows.insert("check_draft".to_owned(), old("check_draft", "updated_ms", days(3)));
    old_rows.insert("staff_session".to_owned(), old("staff_session", "last_seen_ms", days(3)));
    let zone = TimeZone::get("America/New_York").unwrap();
    let today = now.to_zoned_datetime(zone.clone()).date();
    let six_years_ago = date(today.year() - 6, today.month(), today.day()).to_zoned_datetime(zone).unwrap();
    old_rows.insert("audit".to_owned(), old("audit", "at_ms", six_years_ago.timestamp().as_millisecond()));
    old_rows
}

/// Every row but those that go, in the tables whose rows only go.
fn without(before: &Rows, gone: &[&Rows]) -> Rows {
    let grows = ["audit", "tombstone", "purged_file", "keeping", "practice"];
    let tables = before.iter().filter(|(table, _)| !grows.contains(&table.as_str()));
    tables
        .map(|(table, lines)| {
            let goes = |line: &&String| {
                gone.iter().any(|gone| gone.get(table).is_some_and(|lines| lines.contains(line)))
            };
            (table.clone(), lines.iter().filter(|line| !goes(line)).cloned().collect())
        })
        .collect()
}

#[track_caller]
fn compare(after: &Rows, expected: &Rows) {
    for (table, lines) in expected {
        assert_eq!(&after[table], lines, "{table}");
    }
}

/// The SHA-256 of a patient's rows, reckoned from what stood there before.
fn sha256_of(theirs: &Rows) -> (i64, String) {
    let order = [
        "job",
        "ladder_rung",
        "ladder",
        "alarm",
        "delivery",
        "notice",
        "measuring_job",
        "measurement",
        "photo",
        "strip_attempt",
        "answers_version",
        "assessment",
        "message",
        "call_attempt",
        "callback",
        "antibiotic_course",
        "correction",
        "review",
        "silence_call",
        "silence",
        "late_knock",
        "link_address",
        "calendar_feed",
        "check_draft",
        "patient_session",
        "wound_check",
        "patient_link",
        "plan_change",
        "plan_step",
        "wound",
        "legal_hold",
        "patient",
    ];
    let (mut hasher, mut rows) = (Sha256::new(), 0);
    let mut add = |table: &str, lines: &[String]| {
        for text in std::iter::once(table).chain(lines.iter().map(String::as_str)) {
            hasher.update((text.len() as u64).to_be_bytes());
            hasher.update(text.as_bytes());
        }
        rows += lines.len() as i64;
    };
    for table in order {
        if let Some(lines) = theirs.get(table) {
            add(table, lines);
        }
    }
    let mut blobs = theirs.get("sealed_blob").cloned().unwrap_or_default();
    blobs.sort_by_key(|line| column(line, "sha256").to_owned());
    for one in blobs.into_iter().chain(theirs.get("opt_out").cloned().unwrap_or_default()) {
        let table = if column(&one, "sealed_sha256").is_empty() { "opt_out" } else { "sealed_blob" };
        add(table, &[one]);
    }
    (rows, HEXLOWER.encode(&hasher.finalize()))
}

async fn head(practice: &Practice) -> RecordHead {
    audit::head(&mut *practice.books().await, practice.id, practice.now()).await.unwrap()
}

async fn is_proved(practice: &Practice, heads: &[RecordHead]) -> Result<i64, Flaw> {
    audit::read_chain(&mut *practice.books().await, practice.id, heads).await.unwrap()
}

async fn stones(practice: &Practice, gone: Gone) -> Vec<tombstones::Tombstone> {
    let mut all = tombstones::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    all.retain(|stone| stone.gone == gone);
    all
}

#[tokio::test]
async fn years_later_exactly_what_is_due_goes_row_by_row_and_the_record_proves_what_is_left() {
    on_each_engine(async |practice| {
        let neighbour = practice.neighbour().await;
        let (people, theirs) = (people(&practice).await, people(&neighbour).await);
        let strangers = lived(&neighbour, &theirs, "Ada Reed", "1950-02-02", &[]).await;
        ends(&theirs, &strangers).await;
        let mia = lived_through_everything(&practice, &people, "Mia Stone").await;
        // The same picture as Mia's first, sent by somebody whose record stays.
        let ned = lived(&practice, &people, "Ned Gray", "1970-01-01", &[jpeg(1)]).await;
        let child = lived(&practice, &people, "Tim Hill", "2020-06-01", &[jpeg(5)]).await;
        let open = lived(&practice, &people, "Ida Moor", "1970-01-01", &[jpeg(6)]).await;
        let waits = lived(&practice, &people, "Ray Lake", "1970-01-01", &[]).await;
        let bare = lived(&practice, &people, "Eva Dale", "1980-01-01", &[]).await;
        for patient in [&mia, &child, &waits, &bare] {
            ends(&people, patient).await;
        }
        // Something of Ray's still waits for somebody.
        let waiting =
            format!("UPDATE wound_check SET state = 'queued' WHERE wound_id = '{}'", waits.enrolled.wound.id);
        sql(&practice, &waiting).await;
        keeping::set(practice.desk(), &people.lead.member, &fifteen_years(), &practice.moment())
            .await
            .unwrap();
        let early = head(&practice).await;
        practice.minutes_pass(60 * 24 * 365);
        ends(&people, &ned).await;
        let later = head(&practice).await;

        // They ended on 10 March 2026. On the last day only goes what has times of its own.
        let neighbours = rows(&neighbour).await;
        looks_eight_days_before(&practice, (2041, 3, 11)).await;
        it_becomes(&practice, (2041, 3, 10), 23);
        let long_before = rows(&practice).await;
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, [], "the last day is kept");
        let before = rows(&practice).await;
        let old = rows_by_age(&long_before, practice.now());
        compare(&before, &without(&long_before, &[&old]));
        for table in ["delivery", "notice", "check_draft", "staff_session"] {
            assert!(!old[table].is_empty(), "{table} has no row to go");
        }
        assert!(
            long_before["audit"]
                .iter()
                .all(|line| old["audit"].contains(line) != before["audit"].contains(line))
        );
        it_becomes(&practice, (2041, 3, 11), 1);
        looks(&practice).await;
        let after = rows(&practice).await;
        let (of_mia, of_eva) = (rows_of_patients(&before, &[&mia]), rows_of_patients(&before, &[&bare]));
        // What has times of its own went before, and of these nothing waits in a practice where all is worked off.
        let went_before = ["job", "delivery", "notice", "check_draft"];
        for table in purge::tables().chain(["opt_out"]).filter(|table| !went_before.contains(table)) {
            assert!(of_mia.contains_key(table), "{table} has no row to go");
        }
        compare(&after, &without(&before, &[&of_mia, &of_eva, &rows_by_age(&before, practice.now())]));
        assert_eq!(of_mia["sealed_blob"].len(), 4, "two of three pictures: the shared one stays");

        // A stone for each, with the hash of what stood there, and a line for each.
        let mut hashes: Vec<(i64, String)> = stones(&practice, Gone::Patient)
            .await
            .into_iter()
            .map(|stone| (stone.rows, stone.sha256))
            .collect();
        let mut expected = vec![sha256_of(&of_mia), sha256_of(&of_eva)];
        hashes.sort();
        expected.sort();
        assert_eq!(hashes, expected);
        for patient in [&mia, &bare] {
            let about = format!("patient:{}", patient.enrolled.patient.id);
            let lines = audit::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
            assert_eq!(lines.len(), 1);
            assert!(
                lines[0].action == "patient.purge" && lines[0].detail.starts_with("clinical_years=15 rows=")
            );
        }

        // The record: nothing older than six years, whole from there on, and proved by the heads signed before and after.
        let newest = head(&practice).await;
        let kept = after["audit"].len() as i64;
        assert_eq!(is_proved(&practice, &[early.clone(), later.clone(), newest]).await, Ok(kept));
        // The last line that went is the one that was signed a year after the first: another one would be found.
        let other = RecordHead { sha256: early.sha256, ..later.clone() };
        let rewritten = Flaw::Rewritten { after: 0, line: later.sequence };
        assert_eq!(is_proved(&practice, &[other]).await, Err(rewritten));
        assert!(kept < newest_sequence(&practice).await, "its oldest lines went");
        assert_eq!(stones(&practice, Gone::Record).await.len(), 1);
        assert_eq!(rows(&neighbour).await, neighbours, "nobody confirmed anything there");

        // The child's record stays until they are 21, and ten years more.
        looks_eight_days_before(&practice, (2051, 6, 2)).await;
        it_becomes(&practice, (2051, 6, 1), 23);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 3, "Ned's went meanwhile");
        it_becomes(&practice, (2051, 6, 2), 1);
        looks(&practice).await;
        let gone = stones(&practice, Gone::Patient).await;
        assert_eq!((gone.len(), gone[0].rule.as_str()), (4, "minor_age=21 minor_years=10"));
        let left = rows(&practice).await;
        let names: BTreeSet<&str> = left["patient"].iter().map(|line| column(line, "id")).collect();
        let ids = [&open, &waits].map(|patient| patient.enrolled.patient.id.to_string());
        assert_eq!(names, ids.iter().map(String::as_str).collect(), "open, or waiting for somebody");
        assert_eq!(is_proved(&practice, &[]).await, Ok(left["audit"].len() as i64));
    })
    .await;
}

async fn newest_sequence(practice: &Practice) -> i64 {
    audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap()[0].sequence
}

#[tokio::test]
async fn as_long_as_no_lead_confirmed_the_numbers_nothing_ever_goes() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[jpeg(1)]).await;
        ends(&people, &mia).await;
        let unsure = Typed { is_confirmed: false, ..fifteen_years() };
        let refused = keeping::set(practice.desk(), &people.lead.member, &unsure, &practice.moment()).await;
        assert!(matches!(refused, Err(CareError::Entered(_))));
        let refused =
            keeping::set(practice.desk(), &people.surgeon.member, &fifteen_years(), &practice.moment()).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
        keeping::ensure(practice.desk(), &practice.moment()).await.unwrap();
        let before = rows(&practice).await;
        assert!(!before["job"].iter().any(|line| column(line, "kind") == "purge"));
        practice.minutes_pass(60 * 24 * 365 * 80);
        looks(&practice).await;
        practice.minutes_pass(60 * 24 * 8);
        looks(&practice).await;
        assert_eq!(rows(&practice).await, before);
        // What would go is shown all the same.
        let board = keeping::board(practice.desk(), &people.lead.member, practice.now()).await.unwrap();
        assert_eq!((board.keeping, board.soon.patients.len()), (None, 1));
    })
    .await;
}

#[tokio::test]
async fn the_daily_job_waits_a_week_after_the_numbers_and_after_every_gap_and_tells_the_leads() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
        ends(&people, &mia).await;
        practice.minutes_pass(60 * 24 * 365 * 16);
        let lead = &people.lead;
        let moment = practice.moment();
        let address = StaffAddress {
            id: StaffAddressId::mint(&moment),
            practice: practice.id,
            staff: lead.member.id,
            channel: Reached::Sms,
            address: "202-555-0177".to_owned(),
            place: 1,
            since: moment.now,
        };
        let mut tx = practice.desk().db.write().await.unwrap();
        assert!(addresses::insert(&mut tx, &address).await.unwrap());
        tx.commit().await.unwrap();
        keeping::set(practice.desk(), &lead.member, &fifteen_years(), &practice.moment()).await.unwrap();
        let told = async || {
            let rows = rows(&practice).await;
            rows["notice"].iter().filter(|line| column(line, "kind") == "things_will_go").count()
        };
        assert_eq!(told().await, 1);
        for _ in 0..6 {
            practice.minutes_pass(60 * 24);
            practice.works().await;
            assert_eq!(stones(&practice, Gone::Patient).await, []);
        }
        // The server is off for eight days; then it waits for another week, and says so.
        practice.minutes_pass(60 * 24 * 8);
        practice.works().await;
        assert_eq!((stones(&practice, Gone::Patient).await, told().await), (Vec::new(), 2));
        for _ in 0..6 {
            practice.minutes_pass(60 * 24);
            practice.works().await;
            assert_eq!(stones(&practice, Gone::Patient).await, []);
        }
        practice.minutes_pass(60 * 48);
        practice.works().await;
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 1);
        assert_eq!(told().await, 2);
        // Other numbers wait again; the same once more do not.
        keeping::set(practice.desk(), &lead.member, &fifteen_years(), &practice.moment()).await.unwrap();
        assert_eq!(told().await, 2);
        let longer = Typed { clinical_years: "30".to_owned(), ..fifteen_years() };
        keeping::set(practice.desk(), &lead.member, &longer, &practice.moment()).await.unwrap();
        assert_eq!(told().await, 3);
    })
    .await;
}

#[tokio::test]
async fn books_that_came_out_of_a_back_up_let_nothing_go_for_a_week() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
        ends(&people, &mia).await;
        let lead = &people.lead.member;
        keeping::set(practice.desk(), lead, &fifteen_years(), &practice.moment()).await.unwrap();
        looks_eight_days_before(&practice, (2041, 3, 10)).await;
        it_becomes(&practice, (2041, 3, 10), 4);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, []);
        // The back-up of that night is put back in the afternoon, and armed in the next one.
        it_becomes(&practice, (2041, 3, 10), 15);
        let mut tx = practice.desk().db.write().await.unwrap();
        server::note(&mut tx, Noted::Held, practice.now()).await.unwrap();
        tx.commit().await.unwrap();
        it_becomes(&practice, (2041, 3, 11), 15);
        noted::arm(&practice.desk().db, &practice.moment()).await.unwrap().unwrap();
        for day in 12..=18 {
            it_becomes(&practice, (2041, 3, day), 4);
            looks(&practice).await;
            assert_eq!(stones(&practice, Gone::Patient).await, [], "a hold may be missing in these books");
        }
        it_becomes(&practice, (2041, 3, 19), 4);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn a_record_that_cannot_go_keeps_no_other_back_and_is_an_alarm() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let people = people(&practice).await;
    let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
    let ned = lived(&practice, &people, "Ned Gray", "1961-04-17", &[]).await;
    ends(&people, &mia).await;
    ends(&people, &ned).await;
    let lead = &people.lead.member;
    keeping::set(practice.desk(), lead, &fifteen_years(), &practice.moment()).await.unwrap();
    let stays = mia.enrolled.patient.id.to_string();
    sql(
        &practice,
        &format!(
            "CREATE TRIGGER stays BEFORE DELETE ON patient WHEN OLD.id = '{stays}' \
             BEGIN SELECT RAISE(ABORT, 'it stays'); END"
        ),
    )
    .await;
    looks_eight_days_before(&practice, (2041, 3, 11)).await;
    it_becomes(&practice, (2041, 3, 11), 4);
    let found = practices::find(&mut *practice.books().await, practice.id).await.unwrap().unwrap();
    assert!(keeping::pass(practice.desk(), &found, &practice.moment()).await.is_err());
    assert_eq!(stones(&practice, Gone::Patient).await.len(), 1);
    let left = rows(&practice).await;
    let ids: Vec<&str> = left["patient"].iter().map(|line| column(line, "id")).collect();
    assert_eq!(ids, [stays.as_str()]);
    let is_told = async || {
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        open.iter().any(|alarm| alarm.kind == AlarmKind::JobFailed)
    };
    assert!(!is_told().await);
    // The daily job tries again and again; it is never given up, but somebody hears of it.
    practice.minutes_of_work_pass(2 * 60).await;
    assert!(is_told().await);
}

#[tokio::test]
async fn whoever_came_back_keeps_the_first_record_and_a_hold_names_the_person() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let first = lived(&practice, &people, "Mía Stone", "1961-04-17", &[]).await;
        ends(&people, &first).await;
        let lead = &people.lead;
        keeping::set(practice.desk(), &lead.member, &fifteen_years(), &practice.moment()).await.unwrap();
        it_becomes(&practice, (2030, 3, 10), 10);
        let second = lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
        ends(&people, &second).await;
        looks_eight_days_before(&practice, (2041, 3, 11)).await;
        it_becomes(&practice, (2041, 3, 11), 4);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, [], "she was here in 2030");
        // The hold is placed on both rows, and names whoever is written down after it, too.
        assert_eq!(places(&practice, lead, "patient", "mia stone").await, 2);
        let third = lived(&practice, &people, "MIA STONE", "1961-04-17", &[]).await;
        ends(&people, &third).await;
        looks_eight_days_before(&practice, (2060, 3, 11)).await;
        it_becomes(&practice, (2060, 3, 11), 4);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, [], "held");
        let release = format!(
            "UPDATE legal_hold SET asked_by = placed_by, asked_ms = 1, released_by = '{}', released_ms = 2",
            people.surgeon.member.id
        );
        sql(&practice, &release).await;
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 3);
    })
    .await;
}

#[tokio::test]
async fn killed_anywhere_the_next_look_comes_to_the_same_end() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mut patients = Vec::new();
        for number in 0..3_u64 {
            let name = format!("Mia Stone {number}");
            patients.push(lived(&practice, &people, &name, "1961-04-17", &[jpeg(number)]).await);
        }
        for patient in &patients {
            ends(&people, patient).await;
        }
        keeping::set(practice.desk(), &people.lead.member, &fifteen_years(), &practice.moment())
            .await
            .unwrap();
        looks_eight_days_before(&practice, (2042, 3, 11)).await;
        it_becomes(&practice, (2042, 3, 11), 4);
        let before = rows(&practice).await;
        let found = practices::find(&mut *practice.books().await, practice.id).await.unwrap().unwrap();
        let mut killed = 0;
        let mut at = 1_u16;
        loop {
            practice.seconds_pass(1);
            let practice = practice.started_anew();
            let (desk, moment) = (practice.desk().clone(), practice.moment());
            let look = async { keeping::pass(&desk, &found, &moment).await.unwrap() };
            match until_killed(look, at).await {
                None => killed += 1,
                Some(Pass::More) => {}
                Some(Pass::Done) => break,
            }
            at += at.div_ceil(3);
        }
        assert!(killed >= 5, "killed {killed} times");
        let after = rows(&practice).await;
        let all: Vec<&Patient> = patients.iter().collect();
        let theirs = rows_of_patients(&before, &all);
        compare(&after, &without(&before, &[&theirs, &rows_by_age(&before, practice.now())]));
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 3, "one for each, however often it died");
        for patient in patients {
            let about = format!("patient:{}", patient.enrolled.patient.id);
            let lines = audit::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
            assert_eq!(lines.iter().filter(|line| line.action == "patient.purge").count(), 1);
        }
        assert!(is_proved(&practice, &[]).await.is_ok());
    })
    .await;
}

async fn places(practice: &Practice, lead: &Staff, scope: &str, name: &str) -> usize {
    let placing = Placing {
        scope: scope.to_owned(),
        name: name.to_owned(),
        born: "1961-04-17".to_owned(),
        reason: "A letter of a court.".to_owned(),
    };
    keeping::place(practice.desk(), &lead.member, &placing, &practice.moment()).await.unwrap()
}

async fn standing(practice: &Practice) -> Vec<LegalHold> {
    legal_holds::in_force(&mut *practice.books().await, practice.id).await.unwrap()
}

/// Somebody begins a check on a phone of their own, and leaves it.
async fn half_fills(practice: &Practice, patient: &Patient, form_key: &str) {
    let phone = patient.opens_link().await;
    let typed = StepTyped {
        form_key,
        step: "pain",
        names: &["pain"],
        fields: vec![("pain".to_owned(), "3".to_owned())],
        shown: vec!["pain".to_owned()],
    };
    let holder = phone.holder().await;
    check_draft::keep(practice.desk(), &holder, &phone.token, typed, practice.now()).await.unwrap();
}

async fn half_filled(practice: &Practice) -> Vec<String> {
    rows(practice).await["check_draft"].iter().map(|line| column(line, "form_key").to_owned()).collect()
}

#[tokio::test]
async fn a_half_filled_check_goes_with_the_next_one_only_where_no_hold_and_no_number_says_how_long_it_stays()
{
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = people.office.enrols("Mia Stone", &people.surgeon).await;
        let four_days_pass = || practice.minutes_pass(4 * 24 * 60);
        half_fills(&practice, &mia, "first").await;
        four_days_pass();
        half_fills(&practice, &mia, "second").await;
        assert_eq!(half_filled(&practice).await, ["second"], "nobody said how long");

        places(&practice, &people.lead, "practice", "").await;
        four_days_pass();
        half_fills(&practice, &mia, "third").await;
        let both = BTreeSet::from(["second".to_owned(), "third".to_owned()]);
        assert_eq!(half_filled(&practice).await.into_iter().collect::<BTreeSet<_>>(), both, "nothing goes");
        let hold = standing(&practice).await[0].id;
        let (lead, surgeon) = (people.lead.member.id, people.surgeon.member.id);
        let mut tx = practice.desk().db.write().await.unwrap();
        assert!(legal_holds::note_asked(&mut tx, practice.id, hold, lead, practice.now()).await.unwrap());
        assert!(legal_holds::release(&mut tx, practice.id, hold, surgeon, practice.now()).await.unwrap());
        tx.commit().await.unwrap();

        let thirty = Typed { passing_days: "30".to_owned(), ..fifteen_years() };
        keeping::set(practice.desk(), &people.lead.member, &thirty, &practice.moment()).await.unwrap();
        half_fills(&practice, &mia, "fourth").await;
        assert_eq!(half_filled(&practice).await.len(), 3, "thirty days are not over");
        // The second is of four days ago.
        for day in 0..=26 {
            assert_eq!(half_filled(&practice).await.len(), 3, "day {day}");
            practice.minutes_pass(24 * 60);
            looks(&practice).await;
        }
        assert_eq!(half_filled(&practice).await.len(), 2, "the second is more than thirty days old");
        let newest = &stones(&practice, Gone::Passing).await[0];
        let told = (newest.at, newest.rows, newest.rule.as_str());
        assert_eq!(told, (practice.now(), 1, "passing_days=30"), "and left its stone");
    })
    .await;
}

#[tokio::test]
async fn of_whoever_a_hold_names_nothing_goes_and_of_nobody_while_one_is_on_the_practice() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mía Stone", "1961-04-17", &[jpeg(1)]).await;
        let ned = lived(&practice, &people, "Ned Gray", "1961-04-17", &[jpeg(2)]).await;
        ends(&people, &mia).await;
        ends(&people, &ned).await;
        let moment = practice.moment();
        keeping::set(practice.desk(), &people.lead.member, &fifteen_years(), &moment).await.unwrap();
        let nobody = Placing {
            scope: "patient".to_owned(),
            name: "Mia Stone".to_owned(),
            born: "1961-04-18".to_owned(),
            reason: "A letter.".to_owned(),
        };
        let sought = keeping::place(practice.desk(), &people.lead.member, &nobody, &moment).await;
        assert!(matches!(sought, Err(CareError::Entered(_))), "another day of birth is another person");
        assert_eq!(places(&practice, &people.lead, "practice", "").await, 0);
        assert_eq!(places(&practice, &people.lead, "patient", "mia stone").await, 1);
        looks_eight_days_before(&practice, (2042, 3, 11)).await;
        it_becomes(&practice, (2042, 3, 11), 4);
        let before = rows(&practice).await;
        looks(&practice).await;
        let mut after = rows(&practice).await;
        after.insert("keeping".to_owned(), before["keeping"].clone());
        assert_eq!(after, before, "the whole practice is held");

        // Without it, Ned's record goes, and Mía's stays; so do the messages and the record.
        let on_all = standing(&practice).await.into_iter().find(|hold| hold.patient.is_none()).unwrap();
        let id = on_all.id;
        sql(&practice, &format!("UPDATE legal_hold SET asked_by = placed_by, asked_ms = 1, released_by = '{}', released_ms = 2 \
                                 WHERE id = '{id}'", people.surgeon.member.id)).await;
        let before = rows(&practice).await;
        looks(&practice).await;
        let after = rows(&practice).await;
        compare(&after, &without(&before, &[&rows_of_patients(&before, &[&ned])]));
        assert_eq!(stones(&practice, Gone::Record).await, []);
        assert!(before["audit"].iter().all(|line| after["audit"].contains(line)));
    })
    .await;
}

#[tokio::test]
async fn a_hold_ends_only_when_two_people_say_so_within_a_week_and_then_a_week_goes_by() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
        ends(&people, &mia).await;
        let desk = practice.desk();
        keeping::set(desk, &people.lead.member, &fifteen_years(), &practice.moment()).await.unwrap();
        looks_eight_days_before(&practice, (2042, 3, 11)).await;
        it_becomes(&practice, (2042, 3, 10), 4);
        places(&practice, &people.lead, "patient", "Mia Stone").await;
        let id = standing(&practice).await[0].id;
        let presses = async |who: &Staff| keeping::release(desk, &who.member, id, &practice.moment()).await;
        let not_allowed = |done| matches!(done, Err(CareError::NotAllowed));
        assert!(not_allowed(presses(&people.surgeon).await), "a lead begins");
        assert!(not_allowed(presses(&people.office).await));
        assert_eq!(presses(&people.lead).await.unwrap(), Release::Asked);
        assert!(matches!(presses(&people.lead).await, Err(CareError::Entered(_))), "nobody alone");
        assert!(not_allowed(presses(&people.office).await));
        // The second comes too late: it is asked anew.
        practice.minutes_pass(60 * 24 * 7 + 1);
        assert!(not_allowed(presses(&people.surgeon).await));
        assert_eq!(presses(&people.lead).await.unwrap(), Release::Asked);
        let second = practice.hires("Kim Lane", Roles { lead: true, ..Roles::default() }).await;
        assert!(not_allowed(presses(&people.surgeon).await), "there are two leads");
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, [], "it stands");
        let released = keeping::release(desk, &second, id, &practice.moment()).await.unwrap();
        assert_eq!((released, standing(&practice).await), (Release::Released, Vec::new()));
        assert!(matches!(presses(&people.lead).await, Err(CareError::AlreadyDone)));
        // The books themselves refuse one person alone.
        let alone =
            format!("UPDATE legal_hold SET released_by = asked_by, released_ms = 1 WHERE id = '{id}'");
        let mut tx = desk.db.write().await.unwrap();
        assert!(sqlx::query(AssertSqlSafe(alone)).execute(&mut *tx).await.is_err());
        drop(tx);
        practice.minutes_pass(60 * 24 * 6);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await, [], "a mistake can be noticed for a week");
        practice.minutes_pass(60 * 24);
        looks(&practice).await;
        assert_eq!(stones(&practice, Gone::Patient).await.len(), 1);
        let actions = crate::support::actions(&practice).await;
        for action in ["hold.place", "hold.ask_release", "hold.release", "patient.purge"] {
            assert!(actions.contains(&action.to_owned()), "{action}");
        }
    })
    .await;
}

/// What an older back-up holds of a photo: its row in the books, and its file.
async fn backed_up(practice: &Practice) -> Vec<(KeptBlob, Vec<u8>)> {
    let mut books = practice.books().await;
    let kept = sealed_blobs::after(&mut books, practice.id, "", 100).await.unwrap();
    let folder = practice.desk().blobs.folder().unwrap();
    let read = |kept: KeptBlob| {
        let bytes = fs::read(folder.join(&kept.file.as_str()[..2]).join(kept.file.as_str())).unwrap();
        (kept, bytes)
    };
    kept.into_iter().map(read).collect()
}

#[tokio::test]
async fn the_keys_of_photos_go_with_their_rows_and_their_files_a_day_later_and_a_changed_sealing_key_shuts_older_back_ups()
 {
    for place in Place::each().await {
        let practice = Practice::open(&place).await;
        let people = people(&practice).await;
        let mia = lived(&practice, &people, "Mia Stone", "1961-04-17", &[jpeg(1), jpeg(2)]).await;
        ends(&people, &mia).await;
        keeping::set(practice.desk(), &people.lead.member, &fifteen_years(), &practice.moment())
            .await
            .unwrap();
        let older = backed_up(&practice).await;
        assert!(older.len() >= 2);
        practice.desk().db.settle().await.unwrap();
        assert!(!is_sqlite(&practice) || stands_in_the_file(&place, &older[0].0.wrapped_key));
        looks_eight_days_before(&practice, (2042, 3, 11)).await;
        it_becomes(&practice, (2042, 3, 11), 4);
        let blobs = &practice.desk().blobs;
        assert!(blobs.open(&older[0].0).await.unwrap().is_some());
        looks(&practice).await;

        let mut books = practice.books().await;
        for (kept, _) in &older {
            assert!(sealed_blobs::find(&mut books, practice.id, &kept.name).await.unwrap().is_none());
            assert!(blobs.get(&mut books, practice.id, &kept.name).await.unwrap().is_none());
        }
        drop(books);
        assert!(
            !is_sqlite(&practice) || !stands_in_the_file(&place, &older[0].0.wrapped_key),
            "it stays nowhere"
        );
        // Neither the sweep nor a second look takes the files of today from a back-up that is under way.
        let path = |name: &BlobName| {
            practice.desk().blobs.folder().unwrap().join(&name.as_str()[..2]).join(name.as_str())
        };
        for (kept, _) in &older {
            let long_ago = fs::metadata(path(&kept.file)).unwrap().modified().unwrap() - sweep::AGE * 3;
            fs::File::options().write(true).open(path(&kept.file)).unwrap().set_modified(long_ago).unwrap();
        }
        assert_eq!(sweep::pass(practice.desk()).await.unwrap().photos, 0);
        looks(&practice).await;
        assert!(older.iter().all(|(kept, _)| path(&kept.file).exists()));
        practice.minutes_pass(60 * 24);
        looks(&practice).await;
        assert!(older.iter().all(|(kept, _)| !path(&kept.file).exists()));
        assert!(rows(&practice).await["purged_file"].is_empty());

        // Whoever has an older back-up and the sealing keys of its day can still open it; without that key nobody can.
        let elsewhere = tempfile::tempdir().unwrap();
        let text = fs::read_to_string(place.folder.path().join("sealing-keys")).unwrap();
        let ring = KeyRing::from_text(&text).unwrap();
        for (kept, bytes) in &older {
            let file = elsewhere.path().join(&kept.file.as_str()[..2]);
            fs::create_dir_all(&file).unwrap();
            fs::write(file.join(kept.file.as_str()), bytes).unwrap();
        }
        let with =
            |ring: KeyRing| Blobs::in_folder(elsewhere.path()).unwrap().sealed_with(ring, Chance::seeded(3));
        assert!(with(ring.clone()).open(&older[0].0).await.unwrap().is_some());
        let only_new =
            KeyRing::from_text(&KeyRing::new_line(Some(ring.newest()), &Chance::seeded(4))).unwrap();
        for (kept, _) in &older {
            let opened = with(only_new.clone()).open(kept).await;
            assert!(matches!(opened, Err(StoreError::Sealed(SealFault::UnknownKey { .. }))), "{opened:?}");
        }
        place.clear().await;
    }
}

fn is_sqlite(practice: &Practice) -> bool {
    practice.desk().db.engine() == Engine::Sqlite
}

/// Whether these bytes stand anywhere in the files of the books.
fn stands_in_the_file(place: &Place, bytes: &[u8]) -> bool {
    let files = fs::read_dir(place.folder.path()).unwrap().map(|entry| entry.unwrap().path());
    let mut books =
        files.filter(|path| path.file_name().unwrap().to_str().unwrap().starts_with("test.sqlite"));
    books.any(|path| fs::read(path).unwrap().windows(bytes.len()).any(|window| window == bytes))
}

#[tokio::test]
async fn the_database_lets_lines_go_only_from_the_beginning_on_and_only_six_years_old() {
    on_each_engine(async |practice| {
        let people = people(&practice).await;
        lived(&practice, &people, "Mia Stone", "1961-04-17", &[]).await;
        let refused = async |statements: &[&str]| {
            let mut tx = practice.desk().db.write().await.unwrap();
            for sql in statements {
                if let Err(fault) = sqlx::query(AssertSqlSafe((*sql).to_owned())).execute(&mut *tx).await {
                    return fault.to_string().contains("the record is append-only");
                }
            }
            false
        };
        let begins_later = "UPDATE practice SET audit_start = 3";
        let taken = "DELETE FROM audit WHERE sequence <= 3";
        assert!(refused(&[begins_later, taken]).await, "they are young");
        practice.minutes_pass(60 * 24 * (6 * 365 + 3));
        Staff::signs_in(&practice, people.lead.member.clone()).await;
        assert!(refused(&[taken]).await, "the practice does not say so");
        assert!(
            refused(&[begins_later, "DELETE FROM audit WHERE sequence = 4"]).await,
            "not from the middle"
        );
        assert!(!refused(&[begins_later, taken]).await);
        // Whoever takes lines so, without the line that says it, is found out.
        let hash = rows(&practice).await["audit"]
            .iter()
            .find(|line| column(line, "sequence") == "3")
            .map(|line| column(line, "sha256").to_owned())
            .unwrap();
        let begins = format!(
            "UPDATE practice SET audit_start = 3, audit_start_sha256 = '{hash}' WHERE id = '{}'",
            practice.id
        );
        sql(&practice, &begins).await;
        sql(&practice, &format!("{taken} AND practice_id = '{}'", practice.id)).await;
        assert_eq!(is_proved(&practice, &[]).await, Err(Flaw::Unnoted { last: 3 }));
    })
    .await;
}

#[tokio::test]
async fn every_table_that_points_at_something_of_a_patient_is_cleared_away_with_them() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let mut books = practice.books().await;
    let theirs: BTreeSet<&str> = purge::tables().collect();
    let mut pointing = 0;
    for table in TABLES {
        let sql = format!("SELECT name FROM pragma_table_info('{table}')");
        let columns = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *books).await.unwrap();
        let names: Vec<String> = columns.iter().map(|row| row.try_get("name").unwrap()).collect();
        // The canary is nobody.
        if names.iter().any(|name| POINTERS.contains(&name.as_str())) && *table != "canary" {
            assert!(theirs.contains(table), "{table}: add it to THEIRS in store/purge.rs");
            pointing += 1;
        }
    }
    assert!(pointing >= 25);
}
