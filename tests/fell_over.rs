//! A handler that falls over: its request is answered in words with a reference that the log has as well, and nobody else notices.

mod support;

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;

use support::*;

/// The reference a page names, such as "K7QM-4T9X".
fn reference(page: &Page) -> String {
    let html = page.html();
    let named = html.split("<strong>").skip(1).filter_map(|rest| rest.split('<').next());
    let is_one = |text: &&str| text.len() == 9 && text.as_bytes()[4] == b'-';
    named.filter(is_one).last().unwrap_or_else(|| panic!("no reference on {}", page.words())).to_owned()
}

async fn get(practice: &Practice, path: &str, cookie: &str) -> Page {
    send(&practice.router, from_our_page(Method::GET, path, cookie).body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn a_fault_of_the_books_has_a_reference_on_the_page_and_in_the_log_and_another_each_time() {
    let (log, _listening) = Log::of_the_thread();
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    practice.minutes_of_work_pass(1).await;
    for sql in ["ALTER TABLE wound RENAME TO away", "ALTER TABLE practice RENAME TO away_too"] {
        sqlx::query(sql).execute(&mut *practice.books().await).await.unwrap();
    }
    let mut seen = Vec::new();
    for (path, cookie) in [("/queue", &surgeon.cookie), ("/my", &phone.cookie), ("/my", &phone.cookie)] {
        let page = get(&practice, path, cookie).await;
        assert_eq!(page.status, StatusCode::INTERNAL_SERVER_ERROR, "{path}");
        page.must_say("202-555-0100");
        let reference = reference(&page);
        let line = log.text().lines().find(|line| line.contains(&reference)).map(str::to_owned);
        let line = line.unwrap_or_else(|| panic!("{reference} is not in the log"));
        assert!(line.contains("answered with a fault of ours") && line.contains(path), "{line}");
        assert!(!seen.contains(&reference));
        seen.push(reference);
    }
}

#[cfg(feature = "doubles")]
mod on_purpose {
    use super::*;

    use axum::http::header;
    use closewatch::store::audit;

    #[tokio::test]
    async fn a_handler_that_falls_over_is_answered_with_whom_to_ring_and_a_line_in_the_record() {
        on_each_engine(async |practice| {
            let (log, _listening) = Log::of_the_thread();
            let (office, surgeon) = (practice.office().await, practice.surgeon().await);
            let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
            practice.minutes_of_work_pass(1).await;
            for (path, cookie) in [
                ("/falls-over", String::new()),
                ("/my/falls-over", phone.cookie.clone()),
                ("/practice/falls-over", office.cookie.clone()),
            ] {
                let page = get(&practice, path, &cookie).await;
                assert_eq!(page.status, StatusCode::INTERNAL_SERVER_ERROR, "{path}");
                page.must_say("202-555-0100").must_not_say("a test asked for this");
                assert_eq!(page.headers[header::CACHE_CONTROL], "no-store");
                let reference = reference(&page);
                assert!(log.text().contains(&reference), "{path}: {reference} is not in the log");
                let lines = audit::newest(&mut *practice.books().await, practice.id, 1).await.unwrap();
                assert_eq!(lines[0].action, "server.fell_over");
                assert_eq!(lines[0].subject, format!("reference:{reference}"));
                assert_eq!(lines[0].detail, format!("door=GET {path}"));
            }
            let page = get(&practice, "/my/falls-over", &phone.cookie).await;
            page.must_say("This page does not open now")
                .must_say("Esta página no abre ahora")
                .must_say("911");
            let lead = practice.lead().await;
            lead.opens("/practice/record").await.must_say("fell over while it answered");
            // The others go on, and so does whoever fell over.
            phone.opens("/my").await.is_fine();
            phone.sends("one", no_danger(), &[jpeg(1)]).await;
            surgeon.opens("/queue").await.is_fine().must_say("Mia Stone");
        })
        .await;
    }

    #[tokio::test]
    async fn while_some_fall_over_all_others_are_answered() {
        let place = Place::sqlite();
        let practice = Practice::open(&place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let falling = (0..40).map(|number| {
            let (path, cookie) = match number % 3 {
                0 => ("/falls-over", ""),
                1 => ("/my/falls-over", phone.cookie.as_str()),
                _ => ("/practice/falls-over", office.cookie.as_str()),
            };
            get(&practice, path, cookie)
        });
        let working = (0..40).map(async |number| {
            phone.sends(&format!("form {number}"), no_danger(), &[]).await;
            phone.opens("/my").await.status
        });
        let (fallen, worked) =
            futures::future::join(futures::future::join_all(falling), futures::future::join_all(working))
                .await;
        assert!(fallen.iter().all(|page| page.status == StatusCode::INTERNAL_SERVER_ERROR));
        assert!(worked.iter().all(|status| *status == StatusCode::OK));
        assert_eq!(phone.checks().await.len(), 40);
        get(&practice, "/live", "").await.is_fine();
    }
}
