//! The page about keeping: a lead confirms the numbers, places a hold, and two people end it.

use axum::http::StatusCode;

use closewatch::care::plan;
use closewatch::plan::EndWhy;
use closewatch::store::legal_holds;
use closewatch::triage::Decision;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::actions;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;

const PAGE: &str = "/practice/keeping";
const NUMBERS: [(&str, &str); 7] = [
    ("clinical_years", "15"),
    ("minor_age", "21"),
    ("minor_years", "10"),
    ("record_years", "6"),
    ("letters_days", "90"),
    ("passing_days", "3"),
    ("confirmed", "1"),
];

/// Mia Stone's record ended today.
async fn one_record_ended(practice: &Practice, office: &Staff, surgeon: &Staff) {
    let patient = office.enrols("Mia Stone", surgeon).await;
    let check = patient.opens_link().await.sends("one", no_danger(), &[jpeg(1)]).await.check;
    surgeon.decides(check, Decision::HealingAsExpected, "It heals well.").await.unwrap();
    let (desk, moment, wound) = (practice.desk(), practice.moment(), patient.enrolled.wound.id);
    plan::end(desk, &office.member, wound, EndWhy::Transferred, "moved", &moment).await.unwrap();
}

async fn comes_back(practice: &Practice, who: &Staff) -> Staff {
    Staff::signs_in(practice, who.member.clone()).await
}

#[tokio::test]
async fn a_lead_confirms_the_numbers_sees_what_will_go_and_later_what_went_and_never_a_name() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        one_record_ended(&practice, &office, &surgeon).await;
        let page = lead.opens(PAGE).await;
        page.must_say("Nothing goes. Everything is kept until a lead has confirmed the numbers below.")
            .must_say("Left for three days, they go when the next one is begun.")
            .must_say("old notices: texts, e-mails and calls the program sent")
            .must_say("every lead who has an address here is told")
            .must_say("Local law decides how long a practice must keep a chart.")
            .must_say("No patient’s record");
        assert_eq!(page.field("clinical_years").as_deref(), Some("15"));
        let unsure = lead.presses(PAGE, &NUMBERS[..6]).await;
        assert_eq!(unsure.status, StatusCode::UNPROCESSABLE_ENTITY);
        unsure.must_say("Find out what the law where you are asks for, then say so here.");
        lead.presses(PAGE, &NUMBERS).await.is_fine();
        lead.opens(PAGE)
            .await
            .must_say("Nothing goes before")
            .must_say("Lee Park confirmed the numbers on March 10, 2026");

        // Fifteen years, less three weeks.
        practice.minutes_pass(60 * 24 * (15 * 365 - 17));
        let lead = comes_back(&practice, &lead).await;
        lead.opens(PAGE).await.must_say("The record of 1 patient, last touched in 2026").must_not_say("Mia");
        for _ in 0..32 {
            practice.works().await;
            practice.minutes_pass(60 * 24);
        }
        let lead = comes_back(&practice, &lead).await;
        lead.opens(PAGE)
            .await
            .must_say("No patient’s record")
            .must_say("One patient’s record")
            .must_say("clinical years: 15")
            .must_not_say("Mia");
        lead.opens("/practice/record")
            .await
            .must_say("cleared away, for it was kept long enough,")
            .must_say("cleared away the oldest lines of the record of")
            .must_not_say("Mia");
        let office = comes_back(&practice, &office).await;
        office.opens("/patients").await.must_not_say("Mia");
    })
    .await;
}

#[tokio::test]
async fn a_hold_is_placed_by_name_and_ended_by_a_lead_and_the_surgeon_where_there_is_one_lead() {
    on_each_engine(async |practice| {
        let (office, surgeon, lead) =
            (practice.office().await, practice.surgeon().await, practice.lead().await);
        one_record_ended(&practice, &office, &surgeon).await;
        let holds = format!("{PAGE}/holds");
        let wrong =
            [("scope", "patient"), ("name", "Mia Stone"), ("born", "1961-04-18"), ("reason", "A letter.")];
        let page = lead.presses(&holds, &wrong).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("Nobody of this name and date of birth is in the books.");
        let none = lead.presses(&holds, &[("scope", "patient")]).await;
        none.must_say("Say why")
            .must_say("Enter the patient’s whole name.")
            .must_say("Enter the date of birth");
        let right = [
            ("scope", "patient"),
            ("name", "mia stone"),
            ("born", "1961-04-17"),
            ("reason", "A letter of 3 March."),
        ];
        lead.presses(&holds, &right).await.is_fine();
        lead.opens(PAGE)
            .await
            .must_say("One patient,")
            .must_say("A letter of 3 March.")
            .must_say("no half-filled check goes for its age")
            .must_not_say("Left for three days")
            .must_say("It may end")
            .must_not_say("Mia");
        let id = legal_holds::in_force(&mut *practice.books().await, practice.id).await.unwrap()[0].id;
        let release = format!("{holds}/{id}/release");
        surgeon.opens(PAGE).await.must_say("One patient,").must_not_say("End it, as the second person");
        assert_eq!(surgeon.presses(&release, &[]).await.status, StatusCode::FORBIDDEN);
        assert_eq!(office.presses(&release, &[]).await.status, StatusCode::FORBIDDEN);
        lead.presses(&release, &[]).await.is_fine();
        let alone = lead.presses(&release, &[]).await;
        assert_eq!(alone.status, StatusCode::UNPROCESSABLE_ENTITY);
        alone.must_say("Nobody releases a hold alone").must_say("One patient,");

        // Whoever took the second step a while ago takes it anew.
        practice.minutes_pass(6);
        let stale = surgeon.presses(&release, &[]).await;
        assert_eq!(stale.status, StatusCode::FORBIDDEN);
        surgeon
            .opens(PAGE)
            .await
            .must_say("End it, as the second person")
            .must_say("Lee Park says that it may end.");
        let surgeon = comes_back(&practice, &surgeon).await;
        surgeon.presses(&release, &[]).await.is_fine();
        surgeon.opens(PAGE).await.must_say("None stands.");
        let done = actions(&practice).await;
        for action in ["hold.nobody", "hold.place", "hold.ask_release", "hold.release"] {
            assert!(done.contains(&action.to_owned()), "{action}");
        }
    })
    .await;
}
