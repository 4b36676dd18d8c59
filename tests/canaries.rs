//! Words nobody else would write are typed into every form of the house, and looked for afterwards wherever no patient's word may
//! stand: in the log, in the record, in what is sent out, in addresses, titles and error pages.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use axum::http::StatusCode;

use closewatch::store::text_columns;

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
use support::raw_files;
use support::rows_of;

mod support;

/// What was typed, word by field, and every answer that came.
type Toured = (BTreeMap<String, String>, Vec<(String, Page)>);

/// Everybody walks through the whole house and types into every field.
async fn tour(practice: &Practice, staff: &Staff, phone: &Phone) -> Toured {
    let mut typed = BTreeMap::new();
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
