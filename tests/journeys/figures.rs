//! What leads and surgeons read about the ranking: the figures, told by the words they see.

use axum::http::StatusCode;
use axum::http::header;

use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::reviews;
use closewatch::triage::Decision;

use crate::support;
use crate::support::ANSWER;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::actions;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::one_check;
use crate::support::with_temperature;

/// A surgeon's decision on a check, as the form sends it.
fn decision(judged: &str) -> [(&str, &str); 6] {
    [
        ("decision", "healing_as_expected"),
        ("reply", ANSWER),
        ("note", ""),
        ("come_in", ""),
        ("ask", ""),
        ("judged", judged),
    ]
}

#[tokio::test]
async fn a_surgeon_says_how_urgent_it_was_and_the_lead_reads_it_in_the_figures() {
    on_each_engine(async |practice| {
        let (_, check) = one_check(&practice, "Calm Carter", no_danger()).await;
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        let review = surgeon.opens(&format!("/checks/{check}")).await;
        review.must_say("How urgent was it?").must_say("As the decision says");
        practice.minutes_pass(10);
        assert_eq!(surgeon.fills_in(check, &decision("ring_now")).await.leads_to(), "/queue");
        surgeon
            .opens(&format!("/checks/{check}"))
            .await
            .must_say("said how urgent it was: Ring within the hour");

        let page = lead.opens("/practice/figures").await;
        page.is_fine()
            .must_say("How well it ranks")
            .must_say("missed share of the urgent c/(a+c) = 1 − sensitivity too few to say (1 of 1)")
            .must_say("false share of the calm b/(b+d) = 1 − specificity too few to say (0 of 0)")
            .must_say("under-triage c/(c+d) and over-triage b/(a+b)")
            .must_say("How urgent it was: 1 said by the surgeon, 0 read from the decision")
            .must_say("1 of 1 counted checks were judged graver than they were assessed: too few to say.")
            .must_say("more urgent cases without another miss are needed")
            .must_say("10 min")
            .must_not_say("Calm Carter");
        let link = format!("href=\"/checks/{check}\"");
        assert!(!page.html().contains(&link), "a lead who is no surgeon cannot open the review");
        let theirs = surgeon.opens("/practice/figures?period=all").await;
        assert!(theirs.html().contains(&link));
        let lines = actions(&practice).await;
        assert_eq!(lines.iter().filter(|action| *action == "figures.view").count(), 2);
        lead.opens("/practice/record").await.must_say("looked at the figures of");
    })
    .await;
}

#[tokio::test]
async fn a_word_for_how_urgent_it_was_that_is_none_sends_nothing_and_loses_nothing() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Calm Carter", no_danger()).await;
    let surgeon = practice.surgeon().await;
    let back = surgeon.presses(&format!("/checks/{check}/decide"), &decision("very")).await;
    assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
    back.must_say("Choose how urgent it was, or leave it to the decision.").must_say(ANSWER);
    let reviewed = reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap();
    assert!(reviewed.is_empty());
}

#[tokio::test]
async fn the_figures_look_back_over_local_dates_and_count_what_is_overdue_and_open_as_late() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (_, check) = one_check(&practice, "Late Lopez", with_temperature(383)).await;
    let surgeon = practice.surgeon().await.member;
    let figures = async |path: &str| Staff::signs_in(&practice, surgeon.clone()).await.opens(path).await;
    let counts = "Today 0 0 0 0 1 – – too few to say";
    figures("/practice/figures").await.must_say("1 not answered and not yet due is").must_say(counts);
    // Received on a Tuesday at eleven; the thirtieth local date is the 8th of April.
    practice.minutes_pass(29 * 24 * 60 + 12 * 60);
    let late = "Today 1 0 0 1 0 29.5 d too few to say too few to say";
    figures("/practice/figures?period=30").await.must_say(late);
    practice.minutes_pass(60);
    figures("/practice/figures?period=30").await.must_say("by the practice’s own calendar: 0 .");
    figures("/practice/figures?period=90").await.must_say("by the practice’s own calendar: 1 .");
    figures("/practice/figures?period=nonsense").await.must_say("by the practice’s own calendar: 1 .");
    let open = checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap();
    assert_eq!(open.state, CheckState::Queued);
}

#[tokio::test]
async fn each_table_goes_home_as_a_file_without_a_name_and_is_noted() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (patient, check) = one_check(&practice, "Calm Carter", no_danger()).await;
    let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
    surgeon.decides(check, Decision::Antibiotic, ANSWER).await.unwrap();
    let receipt =
        checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap().receipt;
    let tables = [
        ("decisions", "decision,assessed_go_now_checks", "\r\nantibiotic,0,0,0,"),
        (
            "shares",
            "share,formula,hits_checks",
            "\r\nfalse share of the calm,b/(b+d),0,1,,,,too few to say,Lee Park,2026-03-10T11:00\r\n",
        ),
        ("moved-up", "receipt,received_local_time,decision", receipt.as_str()),
        (
            "response-by-class",
            "class,answered_in_time_checks",
            "\r\ngo_now,0,0,0,0,,,,,,too few to say,Lee Park,2026-03-10T11:00\r\n",
        ),
        ("response-by-hour", "received_local_hour,answered_in_time_checks", "\r\n11,1,0,0,0,"),
    ];
    for (table, head, row) in tables {
        let file = lead.opens(&format!("/practice/figures/{table}.csv?period=30")).await;
        assert_eq!(file.status, StatusCode::OK, "{table}");
        assert_eq!(file.headers[header::CONTENT_TYPE], "text/csv; charset=utf-8; header=present");
        let named = file.headers[header::CONTENT_DISPOSITION].to_str().unwrap();
        assert_eq!(
            named,
            format!("attachment; filename=\"{table}-30-days-2026-03-10-1100-by-lee-park.csv\"")
        );
        let text = file.html();
        assert!(text.starts_with(head) && text.contains(row) && text.ends_with("\r\n"), "{table}: {text}");
        let columns = text.lines().next().unwrap().split(',').count();
        assert!(text.lines().all(|line| line.split(',').count() == columns), "{table}: {text}");
        let taken = text.lines().skip(1).all(|line| line.ends_with(",Lee Park,2026-03-10T11:00"));
        assert!(
            text.lines().next().unwrap().ends_with(",exported_by,exported_local_time") && taken,
            "{text}"
        );
        for secret in ["Carter", &patient.enrolled.patient.phone, "Mia"] {
            assert!(!text.contains(secret), "{table}: {text}");
        }
    }
    // Five minutes later the second step is asked for again, and the file comes right after it.
    practice.minutes_pass(6);
    let path = "/practice/figures/shares.csv?period=30";
    let asked = lead.opens(path).await;
    assert_eq!(asked.status, StatusCode::FORBIDDEN);
    asked.must_say("Show once more that it is you").must_not_say("hits_checks");
    let held = asked.field("held_path").unwrap();
    assert_eq!(held, path);
    let code = support::app_seed().code_at(practice.now());
    let proved =
        lead.presses("/prove/code", &[("code", &code), ("held_path", &held), ("held_body", "")]).await;
    assert_eq!((proved.status, proved.leads_to()), (StatusCode::SEE_OTHER, path));
    let lines = audit::newest(&mut *practice.books().await, practice.id, 1_000).await.unwrap();
    let taken: Vec<&str> = lines
        .iter()
        .filter(|line| line.action == "figures.download")
        .map(|line| line.detail.as_str())
        .rev()
        .collect();
    assert_eq!(taken.len(), tables.len());
    assert_eq!(taken[2], "table=moved-up period=30");
}
