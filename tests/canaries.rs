//! Words nobody else would write are typed into every form of the house, and looked for afterwards wherever no patient's word may
//! stand: in the log, in the record, in what is sent out, in addresses, titles and error pages.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use axum::http::StatusCode;

use closewatch::store::text_columns::HOLD_REASON;
use closewatch::store::text_columns::LOOK_NOTE;
use closewatch::store::text_columns::LOOK_REASON;

use support::FormsMet;
use support::Log;
use support::Page;
use support::Phone;
use support::Place;
use support::Practice;
use support::Staff;
use support::Tour;
use support::everybody;
use support::in_each_place;
use support::looks;
use support::opened_texts;
use support::presses;
use support::prints_code;
use support::raw_files;
use support::rows_of;

mod support;

/// What was typed, word by field, and every answer that came.
type Toured = (BTreeMap<String, String>, Vec<(String, Page)>);

/// Everybody walks through the whole house and types into every field.
async fn tour(practice: &Practice, staff: &Staff, phone: &Phone) -> Toured {
    let mut typed = BTreeMap::new();
    types_what_no_tour_does(practice, staff, &mut typed).await;
    let told = Tour::of_everybody(practice, staff, phone, FormsMet::Sent, |field| {
        let canary = format!("Zq{:04}canary", typed.len());
        typed.insert(canary.clone(), field.to_owned());
        canary
    })
    .await;
    practice.minutes_of_work_pass(20).await;
    assert!(typed.len() >= 200, "only {} fields were typed into", typed.len());
    (typed, told)
}

/// What no tour types, as it needs two people or a code: why the whole practice is held, and what is said of an envelope that was
/// opened.
async fn types_what_no_tour_does(practice: &Practice, staff: &Staff, typed: &mut BTreeMap<String, String>) {
    let mut types = |field: &str| {
        let canary = format!("Zq{:04}canary", typed.len());
        typed.insert(canary.clone(), field.to_owned());
        canary
    };
    let hold = "/practice/keeping/holds";
    let reason = types(&format!("{hold} reason"));
    staff.presses(hold, &[("scope", "practice"), ("reason", &reason)]).await.is_fine();
    let code = prints_code(staff).await;
    let reason = types("/envelope reason");
    let fields = [("code", code.as_str()), ("name", "Kim Vale"), ("reason", &reason)];
    assert!(presses(practice, "/envelope", "", &fields).await.cookie().is_some(), "the envelope opens");
    let note = format!("/practice/envelope/{}/note", looks(practice).await[0].id);
    let words = types(&format!("{note} note"));
    staff.presses(&note, &[("note", &words)]).await.is_fine();
}

/// How many sealed texts of the practice hold a canary. What no tour types is among them.
async fn sealed_canaries(practice: &Practice) -> usize {
    let texts = opened_texts(practice).await;
    let with: Vec<&str> =
        texts.iter().filter(|(_, text)| text.contains("canary")).map(|(column, _)| *column).collect();
    for column in [HOLD_REASON.name, LOOK_REASON.name, LOOK_NOTE.name] {
        assert!(with.contains(&column), "nothing that was typed is in {column}");
    }
    with.len()
}

#[tokio::test]
async fn no_word_typed_anywhere_stands_in_the_log_the_record_a_message_an_address_or_a_title() {
    let log = Log::of_the_process();
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (staff, phone) = everybody(&practice).await;
    let (typed, told) = tour(&practice, &staff, &phone).await;
    let log = log.text();
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

/// Fields that stay readable because they are searched for, rung, or told apart by: names, numbers and addresses.
const READABLE: &[&str] =
    &["name", "helper_name", "link_name", "sign_in_name", "phone", "helper_phone", "initials", "address"];

/// The practice's own texts, which are about nobody: the beginning of a form's address, and the ends of its fields' names.
const ABOUT_NOBODY: &[(&str, &[&str])] = &[
    ("/practice/replies", &["title", "body_en", "body_es"]),
    ("/practice/plan-text", &["_title_en", "_body_en", "_title_es", "_body_es"]),
    ("/practice/protocol/approve", &["reason"]),
    ("/practice/duty/holidays", &["holiday_name"]),
];

fn is_about_nobody(action: &str, name: &str) -> bool {
    ABOUT_NOBODY
        .iter()
        .any(|(begins, ends)| action.starts_with(begins) && ends.iter().any(|end| name.ends_with(end)))
}

/// The canaries in some bytes, each once.
fn canaries_in(bytes: &[u8]) -> BTreeSet<String> {
    let ends = bytes.windows(6).enumerate().filter(|(_, six)| six.eq_ignore_ascii_case(b"canary"));
    let words = ends.filter_map(|(at, _)| bytes.get(at.checked_sub(6)?..at + 6));
    // The table of that name is none.
    let found = words
        .filter(|word| word[..2].eq_ignore_ascii_case(b"zq") && word[2..6].iter().all(u8::is_ascii_digit));
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
                match is_about_nobody(action, name) || READABLE.contains(&name) {
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
