//! What people type lies sealed in the books: read by those it is for, found by nobody else, and never shown as another text.

use std::collections::BTreeSet;
use std::time::Duration;

use sqlx::AssertSqlSafe;
use sqlx::Row;

use closewatch::care::antibiotic::Starting;
use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::check_draft;
use closewatch::care::check_draft::StepTyped;
use closewatch::care::knock;
use closewatch::care::knock::Held;
use closewatch::care::late_knock;
use closewatch::care::plan;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::text_scrub;
use closewatch::care::text_scrub::Round;
use closewatch::care::text_scrub::Tried;
use closewatch::care::text_sealing;
use closewatch::care::thread as asking;
use closewatch::ids::WoundCheckId;
use closewatch::store::Db;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::answer_versions;
use closewatch::store::antibiotics::Culture;
use closewatch::store::audit;
use closewatch::store::callbacks;
use closewatch::store::check_drafts;
use closewatch::store::checks;
use closewatch::store::checks::WordsKept;
use closewatch::store::free_text::CANNOT_BE_READ;
use closewatch::store::late_knocks;
use closewatch::store::practices;
use closewatch::store::server;
use closewatch::store::server::Noted;
use closewatch::store::text_columns;
use closewatch::store::thread;
use closewatch::store::wounds;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;
use closewatch::web::Clock;

use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Served;
use crate::support::Staff;
use crate::support::holds;
use crate::support::in_each_place;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::raw_files;
use crate::support::rows_of;
use crate::support::with_words;

/// Somewhere in everything that is typed here, and nowhere else.
const PEARS: &str = "pears";
/// What the patient is told in place of words that cannot be shown.
const CALL_AND_ASK: &str = "These words cannot be shown right now. Please call 202-555-0100 and ask.";

/// A practice in which everybody has typed something.
struct Typed {
    office: Staff,
    surgeon: Staff,
    phone: Phone,
    check: WoundCheckId,
}

/// Types words into a check and sends nothing.
async fn half_fills(phone: &Phone, words: &str) {
    let practice = &phone.patient.practice;
    let typed = StepTyped {
        form_key: "half",
        step: "last",
        names: &["words"],
        fields: vec![("words".to_owned(), words.to_owned())],
        shown: vec!["words".to_owned()],
    };
    check_draft::keep(practice.desk(), &phone.holder().await, &phone.token, typed, practice.now())
        .await
        .unwrap();
}

async fn everybody_types(practice: &Practice) -> Typed {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let check = phone.sends("one", with_words("It smells of pears."), &[]).await.check;
    surgeon.decides(check, Decision::CallByOffice, "We ring you about the pears.").await.unwrap();
    let (desk, moment) = (practice.desk(), practice.moment());
    let call = office.reads_callbacks().await.remove(0);
    let attempting =
        Attempting { note: "Rang, heard of pears.".to_owned(), ..Attempting::of(CallResult::NoAnswer) };
    callback::log_attempt(desk, &office.member, call.callback.id, attempting, &moment).await.unwrap();
    asking::ask(desk, &phone.holder().await, "ask", "May I eat pears?", &moment).await.unwrap();
    let until = moment.now + jiff::SignedDuration::from_hours(24);
    let wound = phone.patient.enrolled.wound.id;
    // Refused while a strip is in; either way it was typed.
    let _ = plan::pause(desk, &office.member, wound, until, "away, picking pears", &moment).await;
    half_fills(&phone, "Half a basket of pears").await;
    Typed { office, surgeon, phone, check }
}

/// One statement for both engines.
async fn runs(practice: &Practice, sql: &str) -> u64 {
    let mut tx = practice.desk().db.write().await.unwrap();
    let done = sqlx::query(AssertSqlSafe(sql.to_owned())).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    done.rows_affected()
}

/// The sealed bytes of one text.
async fn sealed_of(practice: &Practice, table: &str, column: &str, id: &str) -> Vec<u8> {
    let sql = format!("SELECT {column}_sealed AS sealed FROM {table} WHERE id = $1");
    let row = sqlx::query(AssertSqlSafe(sql)).bind(id).fetch_one(&mut *practice.books().await).await.unwrap();
    row.try_get("sealed").unwrap()
}

async fn puts_sealed(practice: &Practice, table: &str, column: &str, id: &str, bytes: &[u8]) {
    let sql = format!("UPDATE {table} SET {column}_sealed = $1 WHERE id = $2");
    let mut tx = practice.desk().db.write().await.unwrap();
    let query = sqlx::query(AssertSqlSafe(sql)).bind(bytes.to_vec()).bind(id);
    assert_eq!(query.execute(&mut *tx).await.unwrap().rows_affected(), 1);
    tx.commit().await.unwrap();
}

fn flipped(bytes: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    bytes
}

/// Rows in which the word stands readably.
async fn rows_with(practice: &Practice, word: &str) -> Vec<String> {
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    rows.into_values().flatten().filter(|row| row.contains(word)).collect()
}

async fn bodies(practice: &Practice, phone: &Phone) -> Vec<String> {
    let wound = phone.patient.enrolled.wound.id;
    let messages = thread::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap();
    messages.iter().map(|message| message.body.to_string()).collect()
}

async fn texts_kept(practice: &Practice) -> i64 {
    let counts = text_columns::count_by_key(&mut *practice.books().await, practice.id).await.unwrap();
    counts.iter().map(|(_, many)| many).sum()
}

#[tokio::test]
async fn what_everybody_typed_is_read_by_those_it_is_for_and_stands_nowhere_in_the_books() {
    in_each_place(async |place| {
        let practice = Practice::open(place).await;
        let typed = everybody_types(&practice).await;
        let review = typed.surgeon.opens(&format!("/checks/{}", typed.check)).await;
        review.must_say("It smells of pears.").must_say("May I eat pears?");
        typed.phone.types_pin().await;
        typed.phone.opens("/my/answers").await.must_say("We ring you about the pears.");
        let call = typed.office.reads_callbacks().await.remove(0);
        assert_eq!(call.attempts[0].note, "Rang, heard of pears.");
        assert_eq!(call.operation.procedure, "abscess drained");

        assert!(texts_kept(&practice).await >= 6, "{}", texts_kept(&practice).await);
        assert_eq!(rows_with(&practice, PEARS).await, Vec::<String>::new());
        assert_eq!(rows_with(&practice, "abscess").await, Vec::<String>::new());
        let files = raw_files(place.folder.path());
        assert!(files.iter().any(|(_, bytes)| place.engine_name() != "SQLite" || holds(bytes, "Mia Stone")));
        let found: Vec<_> =
            files.iter().filter(|(_, bytes)| holds(bytes, PEARS)).map(|(path, _)| path).collect();
        assert!(found.is_empty(), "{found:?}");
    })
    .await;
}

#[tokio::test]
async fn words_that_were_moved_or_changed_are_never_shown_as_anything_else() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        let other = typed.office.enrols("Bo Reed", &typed.surgeon).await.opens_link().await;
        let theirs = other.sends("theirs", with_words("Only mine."), &[]).await.check;
        typed.surgeon.decides(theirs, Decision::HealingAsExpected, "Bo, all is well.").await.unwrap();
        let wound = other.patient.enrolled.wound.id;
        let to = thread::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap()[0].id;
        let mine = typed.phone.patient.enrolled.wound.id;
        let from = thread::of_wound(&mut *practice.books().await, practice.id, mine).await.unwrap()[0].id;

        let moved = sealed_of(&practice, "message", "body", &from.to_string()).await;
        puts_sealed(&practice, "message", "body", &to.to_string(), &moved).await;
        other.types_pin().await;
        other.opens("/my/answers").await.must_say(CALL_AND_ASK).must_not_say(PEARS);
        let words = sealed_of(&practice, "wound_check", "words", &typed.check.to_string()).await;
        puts_sealed(&practice, "wound_check", "words", &theirs.to_string(), &words).await;
        let review = typed.surgeon.opens(&format!("/checks/{theirs}")).await;
        review.must_say(CANNOT_BE_READ).must_not_say(PEARS).must_not_say("Only mine.");

        puts_sealed(&practice, "wound_check", "words", &typed.check.to_string(), &flipped(&words)).await;
        typed.surgeon.opens(&format!("/checks/{}", typed.check)).await.must_say(CANNOT_BE_READ);
    })
    .await;
}

/// Whoever writes in the books gives two rows each other's `id`, and the words along with it.
async fn swaps(practice: &Practice, table: &str, column: &str, one: &str, other: &str) {
    let (of_one, of_other) =
        (sealed_of(practice, table, column, one).await, sealed_of(practice, table, column, other).await);
    for (from, to) in [(one, "between"), (other, one), ("between", other)] {
        let sql = format!("UPDATE {table} SET id = '{to}' WHERE id = '{from}'");
        assert_eq!(runs(practice, &sql).await, 1, "{table}");
    }
    puts_sealed(practice, table, column, one, &of_one).await;
    puts_sealed(practice, table, column, other, &of_other).await;
}

#[tokio::test]
async fn words_that_were_moved_with_the_id_of_their_row_open_nowhere_either() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        let other = typed.office.enrols("Bo Reed", &typed.surgeon).await.opens_link().await;
        let theirs = other.sends("theirs", with_words("Only mine."), &[]).await.check;
        half_fills(&other, "Half of mine").await;
        let phones = [&typed.phone, &other];
        let links = phones.map(|phone| phone.patient.issued.link.id);
        let said = async |phone: &Phone| {
            let check = phone.checks().await.remove(0);
            let said = answer_versions::of_check(&mut *practice.books().await, &check).await.unwrap();
            said[0].1.words.clone()
        };
        let draft = async |link| {
            check_drafts::find(&mut *practice.books().await, practice.id, link, "half").await.unwrap()
        };
        assert_eq!([said(phones[0]).await, said(phones[1]).await], ["It smells of pears.", "Only mine."]);
        assert!(draft(links[0]).await.is_some() && draft(links[1]).await.is_some());

        let versions = [format!("{}/1", typed.check), format!("{theirs}/1")];
        swaps(&practice, "answers_version", "words", &versions[0], &versions[1]).await;
        let drafts = links.map(|link| format!("{link}/half"));
        swaps(&practice, "check_draft", "fields", &drafts[0], &drafts[1]).await;
        assert_eq!([said(phones[0]).await, said(phones[1]).await], [CANNOT_BE_READ; 2]);
        assert!(draft(links[0]).await.is_none() && draft(links[1]).await.is_none());
    })
    .await;
}

#[tokio::test]
async fn words_that_cannot_be_read_stay_as_they_lie_there_whatever_else_is_written() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        let id = typed.check.to_string();
        let whole = sealed_of(&practice, "wound_check", "words", &id).await;
        puts_sealed(&practice, "wound_check", "words", &id, &flipped(&whole)).await;
        let phone = &typed.phone;
        phone.sends("one", with_words("It smells of pears."), &[jpeg(1)]).await;
        let check = phone.checks().await.remove(0);
        assert_eq!((check.id, check.answers.words.as_str()), (typed.check, ""));
        assert!(matches!(check.words, WordsKept::Unreadable(_)));
        assert_eq!(sealed_of(&practice, "wound_check", "words", &id).await, flipped(&whole));

        puts_sealed(&practice, "wound_check", "words", &id, &whole).await;
        assert_eq!(phone.checks().await.remove(0).answers.words, "It smells of pears.");
    })
    .await;
}

#[tokio::test]
async fn each_text_is_tried_once_a_night_and_one_that_does_not_open_is_an_alarm_until_it_does() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        let is_raised = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().any(|alarm| alarm.kind == AlarmKind::TextUnreadable)
        };
        let last_line = async || {
            let lines = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
            (lines[0].action.clone(), lines[0].subject.clone())
        };
        text_sealing::seal_all(practice.desk(), practice.now()).await.unwrap();
        let all = usize::try_from(texts_kept(&practice).await).unwrap();
        let mut round = Round::default();
        let mut pass = async |most: usize| {
            text_scrub::pass(practice.desk(), &mut round, most, &practice.moment()).await.unwrap()
        };
        assert_eq!(pass(10_000).await, Tried { opened: all, unreadable: 0 });
        assert_eq!(pass(10_000).await, Tried::default(), "once a night");

        let id = typed.check.to_string();
        let whole = sealed_of(&practice, "wound_check", "words", &id).await;
        puts_sealed(&practice, "wound_check", "words", &id, &flipped(&whole)).await;
        practice.minutes_pass(21 * 60);
        // In small pieces, as the server goes.
        let mut found = Tried::default();
        for _ in 0..all * 2 + 50 {
            let some = pass(2).await;
            (found.opened, found.unreadable) =
                (found.opened + some.opened, found.unreadable + some.unreadable);
        }
        assert_eq!(found, Tried { opened: all, unreadable: 1 });
        assert!(is_raised().await);
        let named = format!("text:wound_check.words:{id}");
        assert_eq!(last_line().await, ("text.unreadable".to_owned(), named.clone()));
        practice.minutes_pass(21 * 60);
        assert_eq!(pass(10_000).await.unreadable, 0, "known by now");
        assert!(is_raised().await);

        puts_sealed(&practice, "wound_check", "words", &id, &whole).await;
        practice.minutes_pass(21 * 60);
        pass(10_000).await;
        assert!(!is_raised().await);
        assert_eq!(last_line().await, ("text.readable".to_owned(), named));
    })
    .await;
}

async fn puts_pepper(practice: &Practice, sealed: &[u8]) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let query = sqlx::query("UPDATE practice SET sealed_pin_pepper = $1").bind(sealed.to_vec());
    assert_eq!(query.execute(&mut *tx).await.unwrap().rows_affected(), 1);
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn what_is_mixed_into_pins_is_tried_each_night_too_and_is_an_alarm_until_it_opens() {
    on_each_engine(async |practice| {
        everybody_types(&practice).await;
        let is_raised = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().any(|alarm| alarm.kind == AlarmKind::TextUnreadable)
        };
        let last_line = async || {
            let lines = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
            (lines[0].action.clone(), lines[0].subject.clone())
        };
        let mut round = Round::default();
        let mut night = async || {
            practice.minutes_pass(21 * 60);
            text_scrub::pass(practice.desk(), &mut round, 10_000, &practice.moment())
                .await
                .unwrap()
                .unreadable
        };
        assert_eq!((night().await, is_raised().await), (0, false));
        let kept = practices::sealed_pin_pepper(&mut *practice.books().await, practice.id).await.unwrap();
        let whole = kept.expect("a PIN was issued");
        puts_pepper(&practice, &flipped(&whole)).await;
        assert_eq!((night().await, is_raised().await), (1, true));
        let named = format!("text:practice.pin_pepper:{}", practice.id);
        assert_eq!(last_line().await, ("text.unreadable".to_owned(), named.clone()));
        assert_eq!((night().await, is_raised().await), (0, true), "known by now");
        puts_pepper(&practice, &whole).await;
        assert_eq!((night().await, is_raised().await), (0, false));
        assert_eq!(last_line().await, ("text.readable".to_owned(), named));
    })
    .await;
}

#[tokio::test]
async fn words_left_at_a_closed_link_that_cannot_be_opened_lose_nothing_to_those_that_come_after_them() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        // The link outlives the plan by two weeks: 90 + 14 days.
        practice.minutes_pass(104 * 24 * 60 + 1);
        let leaves = async |words: &str| {
            let held = Held::Token(patient.issued.token.reveal());
            let left = knock::leave_words(practice.desk(), held, words, None, &practice.moment()).await;
            assert!(left.unwrap().is_some());
        };
        let waiting = async || late_knocks::waiting(&mut *practice.books().await, practice.id).await.unwrap();
        leaves("It is red again.").await;
        let first = waiting().await.remove(0);
        assert_eq!(late_knock::class_of_knock(&first), Urgency::Today);
        let id = first.id.to_string();
        let whole = sealed_of(&practice, "late_knock", "words", &id).await;
        puts_sealed(&practice, "late_knock", "words", &id, &flipped(&whole)).await;

        leaves("").await;
        leaves("It is still red.").await;
        leaves("Please ring.").await;
        let all = waiting().await;
        let [before, after] = &all[..] else { panic!("one row each: {all:?}") };
        assert_eq!((before.id, before.knocks, before.words.read()), (first.id, 2, None));
        assert_eq!(late_knock::class_of_knock(before), Urgency::RingNow);
        assert_eq!(before.due, practice.now() + jiff::SignedDuration::from_hours(1));
        assert_eq!((after.knocks, after.words.as_str()), (2, "It is still red.\nPlease ring."));
        assert_eq!(late_knock::class_of_knock(after), Urgency::Today);
        assert_eq!(sealed_of(&practice, "late_knock", "words", &id).await, flipped(&whole));
        let office = Staff::signs_in(&practice, office.member.clone()).await;
        office.opens("/callbacks").await.must_say(CANNOT_BE_READ).must_say("It is still red.");

        puts_sealed(&practice, "late_knock", "words", &id, &whole).await;
        let all = waiting().await;
        let words: Vec<&str> = all.iter().map(|knock| knock.words.as_str()).collect();
        assert_eq!(words, ["It is red again.", "It is still red.\nPlease ring."]);
        office.opens("/callbacks").await.must_say("It is red again.").must_not_say(CANNOT_BE_READ);
        // Each is seen to by itself.
        let moment = practice.moment();
        for knock in &all {
            late_knock::deal_with(practice.desk(), &office.member, knock.id, "rang", moment.now)
                .await
                .unwrap();
        }
        assert!(waiting().await.is_empty());
    })
    .await;
}

/// Sends another check, which the surgeon answers with an antibiotic that begins at midnight.
async fn is_given(typed: &Typed, form_key: &str, drug: &str) {
    let practice = &typed.office.practice;
    let check = typed.phone.sends(form_key, no_danger(), &[]).await.check;
    let moment = practice.moment();
    review::open(practice.desk(), &typed.surgeon.member, check, moment.now).await.unwrap();
    let starting = Starting {
        drug: drug.to_owned(),
        doses_per_day: None,
        days: 7,
        started: "2026-03-09T04:00:00Z".parse().unwrap(),
        culture: Culture::None,
    };
    let deciding = Deciding {
        decision: Decision::Antibiotic,
        reply: "Take these.".to_owned(),
        note: String::new(),
        come_in: None,
        ask: String::new(),
        judged: None,
        antibiotic: Some(starting),
        extent: None,
    };
    review::decide(practice.desk(), &typed.surgeon.member, check, deciding, &moment).await.unwrap();
}

#[tokio::test]
async fn an_antibiotic_that_is_begun_while_the_words_are_shut_is_never_called_by_the_name_of_another() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        let enrolled = &typed.phone.patient.enrolled;
        let (wound, id) = (enrolled.wound.id, enrolled.wound.id.to_string());
        let kept =
            async || wounds::find(&mut *practice.books().await, practice.id, wound).await.unwrap().unwrap();
        let drug = async || kept().await.risk.antibiotic.unwrap().drug;
        is_given(&typed, "two", "cephalexin").await;
        assert_eq!(drug().await, "cephalexin");
        let whole = sealed_of(&practice, "wound", "typed", &id).await;
        puts_sealed(&practice, "wound", "typed", &id, &flipped(&whole)).await;
        assert_eq!(drug().await, CANNOT_BE_READ);
        // Even one that begins at the very same time.
        is_given(&typed, "three", "doxycycline").await;
        let told = "named where its course is noted, on the patient’s page";
        assert_eq!(drug().await, told);
        assert_eq!(sealed_of(&practice, "wound", "typed", &id).await, flipped(&whole));

        puts_sealed(&practice, "wound", "typed", &id, &whole).await;
        assert_eq!(
            (drug().await.as_str(), kept().await.operation.procedure.as_str()),
            (told, "abscess drained")
        );
        let page = typed.office.opens(&format!("/patients/{}", enrolled.patient.id)).await;
        page.must_say("doxycycline");
        // What is written while the words are open is called by its name again.
        is_given(&typed, "four", "cefadroxil").await;
        assert_eq!(drug().await, "cefadroxil");
    })
    .await;
}

#[tokio::test]
async fn what_lies_there_unsealed_when_everything_is_sealed_is_an_alarm_and_is_not_written_over() {
    on_each_engine(async |practice| {
        let typed = everybody_types(&practice).await;
        text_sealing::seal_all(practice.desk(), practice.now()).await.unwrap();
        let (check, wound) = (typed.check.to_string(), typed.phone.patient.enrolled.wound.id.to_string());
        let call = typed.office.reads_callbacks().await.remove(0).callback.id;
        let planted_place = format!("UPDATE callback SET emergency_place = 'Planted.' WHERE id = '{call}'");
        let of_check = sealed_of(&practice, "wound_check", "words", &check).await;
        let of_wound = sealed_of(&practice, "wound", "typed", &wound).await;
        for sql in [
            "UPDATE wound_check SET words_sealed = NULL, \
             answers = substr(answers, 1, length(answers) - 1) || ',\"words\":\"Planted.\"}' \
             WHERE words_sealed IS NOT NULL",
            &planted_place,
            "UPDATE wound SET typed_sealed = NULL, \
             operation = replace(operation, '\"procedure\":\"\"', '\"procedure\":\"Planted.\"')",
        ] {
            assert_eq!(runs(&practice, sql).await, 1, "{sql}");
        }
        // Each of the three rows is written back.
        typed.phone.sends("one", with_words("It smells of pears."), &[jpeg(1)]).await;
        let before = callbacks::find(&mut *practice.books().await, practice.id, call).await.unwrap().unwrap();
        assert_eq!(before.emergency_place.read(), None);
        let missed = Attempting::of(CallResult::NoAnswer);
        callback::log_attempt(practice.desk(), &typed.office.member, call, missed, &practice.moment())
            .await
            .unwrap();
        is_given(&typed, "two", "cephalexin").await;
        let left = rows_with(&practice, "Planted.").await;
        assert_eq!(left.len(), 3, "{left:?}");
        typed.surgeon.opens(&format!("/checks/{check}")).await.must_not_say("Planted.");

        let is_raised = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().any(|alarm| alarm.kind == AlarmKind::TextUnreadable)
        };
        let mut round = Round::default();
        let mut pass = async || {
            text_scrub::pass(practice.desk(), &mut round, 10_000, &practice.moment()).await.unwrap()
        };
        assert_eq!(pass().await.unreadable, 3);
        assert!(is_raised().await);
        let lines = audit::newest(&mut *practice.books().await, practice.id, 3).await.unwrap();
        let named: BTreeSet<&str> = lines.iter().map(|line| line.subject.as_str()).collect();
        let of_call = format!("text:callback.emergency_place:{call}");
        let (words, at_enrolment) =
            (format!("text:wound_check.words:{check}"), format!("text:wound.typed:{wound}"));
        assert_eq!(named, BTreeSet::from([of_call.as_str(), words.as_str(), at_enrolment.as_str()]));
        practice.minutes_pass(21 * 60);
        assert_eq!(pass().await.unreadable, 0, "known by now");
        assert!(is_raised().await);

        runs(&practice, "UPDATE callback SET emergency_place = ''").await;
        let without = "UPDATE wound_check SET \
                       answers = replace(replace(answers, ',\"words\":\"Planted.\"', ''), '\"words\":\"Planted.\",', '')";
        runs(&practice, without).await;
        puts_sealed(&practice, "wound_check", "words", &check, &of_check).await;
        puts_sealed(&practice, "wound", "typed", &wound, &of_wound).await;
        practice.minutes_pass(21 * 60);
        pass().await;
        assert!(!is_raised().await);
    })
    .await;
}

/// The books as an older program would have left them: the words of messages, checks and wounds as they were typed.
async fn as_an_older_program_left_it(practice: &Practice, typed: &Typed) {
    let wound = typed.phone.patient.enrolled.wound.id;
    let messages = thread::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap();
    for message in messages {
        let body = message.body.replace('\'', "''");
        let sql =
            format!("UPDATE message SET body = '{body}', body_sealed = NULL WHERE id = '{}'", message.id);
        assert_eq!(runs(practice, &sql).await, 1);
    }
    for table in ["wound_check", "answers_version"] {
        let sql = format!(
            "UPDATE {table} SET words_sealed = NULL, \
             answers = substr(answers, 1, length(answers) - 1) || ',\"words\":\"It smells of pears.\"}}' \
             WHERE words_sealed IS NOT NULL"
        );
        assert_eq!(runs(practice, &sql).await, 1, "{table}");
    }
    let sql = "UPDATE wound SET typed_sealed = NULL, \
               operation = replace(operation, '\"procedure\":\"\"', '\"procedure\":\"abscess drained\"')";
    assert_eq!(runs(practice, sql).await, 1);
}

#[tokio::test]
async fn what_an_older_program_left_as_typed_is_read_sealed_once_and_from_then_on_not_believed() {
    in_each_place(async |place| {
        let practice = Practice::open(place).await;
        let typed = everybody_types(&practice).await;
        let before = bodies(&practice, &typed.phone).await;
        as_an_older_program_left_it(&practice, &typed).await;
        assert!(rows_with(&practice, PEARS).await.len() >= 3);
        let same = async || {
            assert_eq!(bodies(&practice, &typed.phone).await, before);
            assert_eq!(typed.phone.checks().await[0].answers.words, "It smells of pears.");
            let wound = typed.phone.patient.enrolled.wound.id;
            let found =
                wounds::find(&mut *practice.books().await, practice.id, wound).await.unwrap().unwrap();
            assert_eq!(found.operation.procedure, "abscess drained");
        };
        same().await;
        // The same form sent again is no amendment, also of a check that was kept so.
        typed.phone.sends("one", with_words("It smells of pears."), &[]).await;
        let many = text_sealing::seal_all(practice.desk(), practice.now()).await.unwrap();
        assert_eq!(many, before.len() as u64 + 3, "a check, its version and a wound beside the messages");
        same().await;
        typed.phone.sends("one", with_words("It smells of pears."), &[]).await;
        assert_eq!(rows_with(&practice, PEARS).await, Vec::<String>::new());
        for (path, bytes) in raw_files(place.folder.path()) {
            assert!(!holds(&bytes, PEARS), "{}", path.display());
        }
        assert_eq!(text_sealing::seal_all(practice.desk(), practice.now()).await.unwrap(), 0);

        runs(&practice, "UPDATE message SET body = 'Eat no pears.', body_sealed = NULL").await;
        assert_eq!(bodies(&practice, &typed.phone).await, vec![CANNOT_BE_READ; before.len()]);
    })
    .await;
}

const OLD_MESSAGES: usize = 8_000;

async fn still_plain(url: &str) -> i64 {
    let db = Db::open(url).await.unwrap();
    let sql = "SELECT COUNT(*) AS many FROM message WHERE body <> ''";
    let row = sqlx::query(sql).fetch_one(&mut *db.read().await.unwrap()).await.unwrap();
    let many = row.try_get("many").unwrap();
    db.close().await;
    many
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_killed_while_it_seals_what_was_there_loses_no_word() {
    let place = Place::sqlite();
    let practice = Practice::open_by(&place, Clock::Machine).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let check = phone.sends("one", with_words("It smells."), &[]).await.check;
    surgeon.decides(check, Decision::HealingAsExpected, "All is well.").await.unwrap();
    let sql = format!(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {OLD_MESSAGES}) \
         INSERT INTO message (id, practice_id, wound_id, check_id, sender, link_id, body, sent_ms) \
         SELECT '018f0000-0000-7000-8009-' || CAST(100000000000 + i AS TEXT), m.practice_id, m.wound_id, m.check_id, \
         'patient', c.link_id, 'pears number ' || CAST(i AS TEXT), m.sent_ms \
         FROM n, (SELECT * FROM message LIMIT 1) m, (SELECT * FROM wound_check LIMIT 1) c"
    );
    runs(&practice, &sql).await;
    let before = bodies(&practice, &phone).await;
    assert_eq!(before.len(), OLD_MESSAGES + 1);
    let all = i64::try_from(OLD_MESSAGES).unwrap();

    let mut left = all;
    let mut in_the_middle = 0;
    for round in 0..40_u64 {
        let served = Served::start(&place);
        tokio::time::sleep(Duration::from_millis(2 + round * 3)).await;
        served.kill();
        let now = still_plain(&place.url).await;
        assert!(now <= left, "{now} after {left}");
        in_the_middle += i32::from(0 < now && now < left);
        left = now;
        assert_eq!(bodies(&practice, &phone).await, before, "killed with {left} left");
        if in_the_middle >= 3 || left == 0 {
            break;
        }
    }
    assert!(in_the_middle >= 1, "no kill came in the middle");
    let served = Served::start(&place);
    let noted =
        async || server::noted(&mut *practice.books().await, Noted::TextsSealed).await.unwrap().is_some();
    for _ in 0..600 {
        if noted().await {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(noted().await, "{}", served.words());
    served.kill();
    assert_eq!(still_plain(&place.url).await, 0);
    assert_eq!(bodies(&practice, &phone).await, before);
    let words = checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap();
    assert_eq!(words.answers.words, "It smells.");
    practice.desk().db.settle().await.unwrap();
    for (path, bytes) in raw_files(place.folder.path()) {
        assert!(!holds(&bytes, "pears number"), "{}", path.display());
    }
    println!("{in_the_middle} kills in the middle of {OLD_MESSAGES} texts, none lost");
}
