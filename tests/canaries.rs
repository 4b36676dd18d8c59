//! Words nobody else would write are typed into every form of the house, and looked for afterwards wherever no patient's word may
//! stand: in the log, in the record, in what is sent out, in addresses, titles and error pages.

use std::collections::BTreeMap;

use axum::http::StatusCode;

use support::FormsMet;
use support::Log;
use support::Place;
use support::Practice;
use support::Tour;
use support::everybody;
use support::rows_of;

mod support;

#[tokio::test]
async fn no_word_typed_anywhere_stands_in_the_log_the_record_a_message_an_address_or_a_title() {
    let log = Log::of_the_process();
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (staff, phone) = everybody(&practice).await;
    let mut typed = BTreeMap::new();
    let told = Tour::of_everybody(&practice, &staff, &phone, FormsMet::Sent, |field| {
        let canary = format!("Zq{:04}canary", typed.len());
        typed.insert(canary.clone(), field.to_owned());
        canary
    })
    .await;
    practice.minutes_of_work_pass(20).await;
    assert!(typed.len() >= 200, "only {} fields were typed into", typed.len());

    let log = log.text();
    assert!(log.contains("answered"), "the log is listened to");
    let rows = rows_of(&mut *practice.books().await, practice.id).await;
    let kept: usize = rows.values().flatten().filter(|row| row.contains("canary")).count();
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
