//! What a check's page tells its patient at every stand of it, and that nothing is decided that nobody has seen.

use axum::http::StatusCode;

use closewatch::care::thread;
use closewatch::ids::CallbackId;
use closewatch::plan::RiskFactors;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::reviews;
use closewatch::words::Language;

use crate::support::*;

const NOT_OPENED: &str = "Nobody has opened it yet.";
const OPENED: &str = "A person has opened it.";
const PART: &str = "A person has opened it. What you sent after that, nobody has opened yet.";
const WILL_CALL: &str = "A person has read it. We will call you.";
const WILL_CALL_AGAIN: &str = "A person has read it. We will call you again.";
const DONE: &str = "A person has dealt with it. Look under “Answers”.";
/// All of them; a page says one.
const STANDS: [&str; 6] = [NOT_OPENED, OPENED, PART, WILL_CALL, WILL_CALL_AGAIN, DONE];

/// The page says this of where the check stands, and nothing else.
fn stands(page: &Page, words: &str) {
    let text = page.words();
    let after = text.split("Where it stands").nth(1).unwrap_or_else(|| panic!("no heading: {text}"));
    let said = after.split("Look again").next().unwrap().trim();
    assert!(
        said == words
            || said.starts_with(&format!("{words} You can"))
            || said.starts_with(&format!("{words} We ")),
        "{said:?} is not {words:?}"
    );
    let longest = STANDS.iter().filter(|stand| said.starts_with(**stand)).max_by_key(|stand| stand.len());
    assert_eq!(longest, Some(&words));
}

async fn sends_answers(phone: &Phone, fields: &[(&str, &str)], files: &[File<'_>]) -> Page {
    phone.posts_files("/my/check", &[&[("form_key", "k")], fields].concat(), files).await
}

async fn rings(office: &Staff, call: CallbackId, result: &str, outcome: &str) {
    let fields =
        [("whom", "patient"), ("result", result), ("outcome", outcome), ("interpreter", "not_needed")];
    let page = office.presses(&format!("/callbacks/{call}/attempts"), &fields).await;
    assert!(page.status.is_redirection(), "{}", page.words());
}

#[tokio::test]
async fn a_page_says_opened_only_once_a_person_looked_and_that_somebody_rang() {
    on_each_engine(async |practice| {
        let (surgeon, office) = (practice.surgeon().await, practice.office().await);
        let phone = office.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        let sent = sends_answers(&phone, &[("danger", "none")], &[]).await;
        let page = async || phone.opens(sent.leads_to()).await;
        stands(&page().await, NOT_OPENED);

        // In the queue, claimed, and its alarm acknowledged: nobody has looked at it yet.
        let check = phone.checks().await[0].id;
        surgeon.opens("/queue").await.must_say("Ana Ortiz");
        surgeon.presses(&format!("/checks/{check}/open"), &[]).await;
        stands(&page().await, NOT_OPENED);
        surgeon.opens(&format!("/checks/{check}")).await.is_fine();
        stands(&page().await, OPENED);
        surgeon.presses(&format!("/checks/{check}/release"), &[]).await;
        stands(&page().await, OPENED);

        // The patient adds something: of that, nobody has seen anything.
        let picture = photo(4);
        let file = File { name: "a.jpg", bytes: &picture };
        let added = [("form_key", "k"), ("receipt", ""), ("position", "1")];
        phone.posts_files("/my/check/photo", &added, &[file]).await;
        stands(&page().await, PART);
        surgeon.opens(&format!("/checks/{check}")).await.is_fine();
        stands(&page().await, OPENED);

        surgeon.fills_in(check, &[("decision", "call_by_office"), ("reply", "")]).await;
        page().await.must_not_say("We tried to call");
        stands(&page().await, WILL_CALL);
        phone.opens("/my").await.must_not_say("We tried to call");
        let call = office.reads_callbacks().await[0].callback.id;
        rings(&office, call, "no_answer", "").await;
        let tried = page().await;
        stands(&tried, WILL_CALL_AGAIN);
        tried.must_say("You can call us too. We tried to call: 11:00 am");
        phone.opens("/my").await.must_say("We tried to call: 11:00 am Please call us back.");
        practice.minutes_pass(10);
        rings(&office, call, "spoke", "").await;
        page().await.must_say("We spoke on the phone: 11:10 am").must_not_say("We tried to call");
        phone.opens("/my").await.must_not_say("We tried to call");
        rings(&office, call, "spoke", "will_follow_advice").await;
        stands(&page().await, DONE);
    })
    .await;
}

#[tokio::test]
async fn a_call_in_vain_is_told_in_spanish_and_after_it_was_handed_back() {
    on_each_engine(async |practice| {
        let (surgeon, office) = (practice.surgeon().await, practice.office().await);
        let phone = practice
            .phone_of("Ana Ortiz", Language::Spanish, RiskFactors::default(), operation(practice.now()))
            .await;
        let sent = sends_answers(&phone, &[("danger", "none")], &[]).await;
        let check = phone.checks().await[0].id;
        surgeon.fills_in(check, &[("decision", "call_by_office"), ("reply", "")]).await;
        phone.opens(sent.leads_to()).await.must_say("Una persona la leyó. Le vamos a llamar.");
        let call = office.reads_callbacks().await[0].callback.id;
        rings(&office, call, "message_left", "").await;
        phone
            .opens(sent.leads_to())
            .await
            .must_say("Le vamos a llamar otra vez.")
            .must_say("Intentamos llamar: 11:00 a. m.");
        office.presses(&format!("/callbacks/{call}/hand-back"), &[("why", "Nobody there.")]).await;
        // It waits for the surgeon again; that somebody rang stays true.
        phone.opens(sent.leads_to()).await.must_say("Una persona la abrió.").must_say("Intentamos llamar");
    })
    .await;
}

#[tokio::test]
async fn what_came_while_a_surgeon_was_reading_is_seen_before_the_check_is_decided() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let phone = practice.office().await.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        sends_answers(&phone, &[("danger", "none")], &[]).await;
        let check = phone.checks().await[0].id;
        let state = async || {
            checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap().state
        };
        surgeon.presses(&format!("/checks/{check}/open"), &[]).await;
        let mut shown = surgeon.opens(&format!("/checks/{check}")).await.field("extent").unwrap();
        let picture = photo(7);
        for added in 0..3 {
            match added {
                0 => drop(sends_answers(&phone, &[("danger", "breath")], &[]).await),
                1 => {
                    let file = File { name: "a.jpg", bytes: &picture };
                    let more = [("form_key", "k"), ("receipt", ""), ("position", "1")];
                    drop(phone.posts_files("/my/check/photo", &more, &[file]).await);
                }
                _ => {
                    let (desk, holder) = (practice.desk(), phone.holder().await);
                    thread::ask(desk, &holder, "q", "I cannot breathe", &practice.moment()).await.unwrap();
                }
            }
            let typed = [("decision", "healing_as_expected"), ("reply", ANSWER), ("extent", shown.as_str())];
            let refused = surgeon.presses(&format!("/checks/{check}/decide"), &typed).await;
            assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
            refused.must_say("The patient sent more while you were reading").must_say(ANSWER);
            assert_eq!(state().await, CheckState::InReview);
            shown = refused.field("extent").unwrap();
        }
        assert!(
            reviews::of_check(&mut *practice.books().await, practice.id, check).await.unwrap().is_empty()
        );
        // A form that does not say how much it showed has shown nothing.
        let typed = [("decision", "go_to_emergency"), ("reply", ANSWER)];
        let refused = surgeon.presses(&format!("/checks/{check}/decide"), &typed).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        let typed = [typed[0], typed[1], ("extent", shown.as_str())];
        assert_eq!(surgeon.presses(&format!("/checks/{check}/decide"), &typed).await.leads_to(), "/queue");
        assert_eq!(state().await, CheckState::AwaitingCall);
    })
    .await;
}

#[tokio::test]
async fn what_was_added_while_the_office_was_to_call_goes_to_a_surgeon_after_the_call() {
    on_each_engine(async |practice| {
        let (surgeon, office) = (practice.surgeon().await, practice.office().await);
        let phone = office.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        let sent = sends_answers(&phone, &[("danger", "none")], &[]).await;
        let check = phone.checks().await[0].id;
        surgeon.fills_in(check, &[("decision", "call_by_office"), ("reply", "")]).await;
        let picture = photo(5);
        let added = [("form_key", "k"), ("receipt", ""), ("position", "1")];
        phone.posts_files("/my/check/photo", &added, &[File { name: "a.jpg", bytes: &picture }]).await;
        let page = phone.opens(sent.leads_to()).await;
        page.must_say(
            "A person has read it. We will call you. What you sent after that, nobody has opened yet.",
        );
        let call = office.reads_callbacks().await[0].callback.id;
        rings(&office, call, "spoke", "will_follow_advice").await;
        let waits = surgeon.reads_queue().await;
        assert_eq!(
            waits.iter().map(|row| (row.id, row.state)).collect::<Vec<_>>(),
            [(check, CheckState::Queued)]
        );
        stands(&phone.opens(sent.leads_to()).await, PART);
        surgeon.fills_in(check, &[("decision", "healing_as_expected"), ("reply", ANSWER)]).await;
        stands(&phone.opens(sent.leads_to()).await, DONE);
    })
    .await;
}
