//! The whole checklist: step by step without scripts, questions for some patients, contradictions, the number to ring.

use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::plan::Antibiotic;
use closewatch::plan::Diabetes;
use closewatch::plan::Operation;
use closewatch::plan::RiskFactors;
use closewatch::plan::Site;
use closewatch::store::audit;
use closewatch::triage::Decision;
use closewatch::triage::Said;
use closewatch::triage::Urgency;
use closewatch::triage::YesNo;
use closewatch::words::Language;

use crate::support::*;

/// A number of the range kept for fiction, typed in an unusual way so that it is found wherever it turns up.
const TYPED_PHONE: &str = "(202) 555-0187";
const DIGITS: &str = "2025550187";

fn at(site: Site, practice: &Practice) -> Operation {
    Operation { site, ..operation(practice.now()) }
}

async fn a_phone(practice: &Practice) -> Phone {
    practice.phone_of("Ana Ortiz", Language::English, RiskFactors::default(), operation(practice.now())).await
}

/// The phone of a patient who meets every question there is, but those of another site.
async fn meets_all(practice: &Practice, language: Language) -> Phone {
    let started = Some(practice.now() - SignedDuration::from_hours(60));
    let risk = RiskFactors {
        diabetes: Some(Diabetes::T2),
        takes_antibiotic: Some(true),
        antibiotic: Some(Antibiotic { drug: "cephalexin".to_owned(), started }),
        ..RiskFactors::default()
    };
    practice.phone_of("Ana Ortiz", language, risk, at(Site::Perianal, practice)).await
}

/// Presses a button of the step on the page, with what is typed into it, and opens where it leads.
async fn presses_in(phone: &Phone, page: &Page, go: &str, typed: &[(&str, &str)]) -> Page {
    let html = page.html();
    let hidden: Vec<(String, String)> = tags(&html)
        .into_iter()
        .filter(|tag| attribute(tag, "type").as_deref() == Some("hidden"))
        .filter_map(|tag| Some((attribute(tag, "name")?, attribute(tag, "value")?)))
        .collect();
    let mut fields: Vec<(&str, &str)> = vec![("go", go)];
    for name in ["form_key", "step", "seen"] {
        let mut values: Vec<&str> =
            hidden.iter().filter(|(field, _)| field == name).map(|(_, value)| value.as_str()).collect();
        values.dedup();
        if name != "seen" {
            values.truncate(1);
        }
        fields.extend(values.into_iter().map(|value| (name, value)));
    }
    fields.extend(typed);
    let answer = match page.field("step").as_deref() {
        Some("last") => phone.posts_files("/my/check/steps/send", &fields, &[]).await,
        _ => phone.presses("/my/check/steps", &fields).await,
    };
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.words());
    let led = phone.opens(answer.leads_to()).await;
    assert_eq!(led.status, StatusCode::OK, "{} {}", answer.leads_to(), led.words());
    led
}

async fn goes_on(phone: &Phone, page: &Page, typed: &[(&str, &str)]) -> Page {
    presses_in(phone, page, "next", typed).await
}

fn is_checked(page: &Page, id: &str) -> bool {
    let html = page.html();
    tags(&html).into_iter().any(|tag| attribute(tag, "id").as_deref() == Some(id) && tag.contains(" checked"))
}

async fn drafts(practice: &Practice) -> Vec<String> {
    rows_of(&mut *practice.books().await, practice.id).await.remove("check_draft").unwrap()
}

#[tokio::test]
async fn a_check_goes_step_by_step_and_is_sent_once_at_its_end() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        // Without scripts the check leads there by itself, and by a link.
        let check = phone.opens("/my/check").await.html();
        assert!(check.contains(
            "<noscript><meta http-equiv=\"refresh\" content=\"0; url=/my/check/steps\"></noscript>"
        ));
        assert!(!phone.opens("/my/check?page=one").await.html().contains("http-equiv"));
        let first = phone.opens("/my/check/steps").await;
        first.must_say("Step 1 of 9").must_say("Press hard with a clean cloth.").must_say("Call 911");
        let key = first.field("form_key").unwrap();
        assert!(drafts(&practice).await.is_empty(), "looking keeps nothing");
        let feel = goes_on(&phone, &first, &[("danger", "none"), ("who", "helper")]).await;
        feel.must_say("Step 2 of 9").must_say("How you feel").must_not_say("as if you have a fever");
        assert_eq!(feel.field("form_key").as_deref(), Some(key.as_str()));
        // An answer opens a question: it is asked before going on.
        let more = goes_on(&phone, &feel, &[("better", "same"), ("temp", "none"), ("chills", "no")]).await;
        more.must_say("Step 2 of 9").must_say("We ask a little more after your answer.");
        more.must_say("Do you feel as if you have a fever?");
        assert!(is_checked(&more, "a-better-same") && is_checked(&more, "a-temp-none"));
        let typed = [
            ("better", "same"),
            ("temp", "none"),
            ("chills", "no"),
            ("feels_feverish", "no"),
            ("fever_pill", "no"),
        ];
        let skin = goes_on(&phone, &more, &typed).await;
        skin.must_say("Step 3 of 9").must_say("The skin around it");
        // Back, and everything is still there; then on again.
        let back = presses_in(&phone, &skin, "back", &[("edge", "thin")]).await;
        back.must_say("Step 2 of 9");
        assert!(is_checked(&back, "a-feels_feverish-no"));
        let skin = goes_on(&phone, &back, &typed).await;
        assert!(is_checked(&skin, "a-edge-thin"), "what was typed before going back is kept");
        let pain =
            goes_on(&phone, &skin, &[("edge", "thin"), ("edge_move", "same"), ("warm_hard", "none")]).await;
        // Nothing is sent yet, and nobody sees it.
        assert!(phone.checks().await.is_empty());
        phone.opens("/my").await.must_say("Go on with the check you began: 11:00 am");
        let fluid = goes_on(&phone, &pain, &[("pain", "2"), ("pain_trend", "better")]).await;
        let care = goes_on(&phone, &fluid, &[("drain", "none"), ("smell", "no"), ("bleed", "none")]).await;
        let site =
            goes_on(&phone, &care, &[("strip", "all_out"), ("wash", "2"), ("gauze_changed", "yes")]).await;
        site.must_say("Step 7 of 9").must_say("How many hours ago did you last pee?");
        let body = goes_on(&phone, &site, &[("pee", "2"), ("pee_signs", "none")]).await;
        body.must_say("You can skip this.");
        let last = goes_on(&phone, &body, &[]).await;
        last.must_say("Step 9 of 9").must_say("Best phone number for the next 2 hours?");
        let picture = photo(1);
        let fields = [
            ("form_key", key.as_str()),
            ("step", "last"),
            ("words", "It looks fine."),
            ("phone", TYPED_PHONE),
            ("voicemail", "yes"),
        ];
        let file = [File { name: "a.jpg", bytes: &picture }];
        let sent = phone.posts_files("/my/check/steps/send", &fields, &file).await;
        let checks = phone.checks().await;
        assert_eq!((checks.len(), sent.leads_to()), (1, format!("/my/sent/{}", checks[0].receipt).as_str()));
        assert_eq!(checks[0].assessment.urgency, Urgency::OnTrack, "{:#?}", checks[0].assessment);
        assert_eq!(checks[0].answers.feels_feverish, Said::Is(YesNo::No));
        assert_eq!(checks[0].answers.words, "It looks fine.");
        assert!(drafts(&practice).await.is_empty());
        phone.opens(sent.leads_to()).await.must_say("Photo 1 came through well.");
        phone.opens("/my").await.must_not_say("Go on with the check");
        // The browser sends once more, or the patient goes back and presses again: it is the same check.
        let again = phone.posts_files("/my/check/steps/send", &fields, &file).await;
        assert_eq!(again.leads_to(), sent.leads_to());
        // So is going back to a step that was sent: it leads to the receipt, and not into a new check.
        for code in ["last", "pain"] {
            let back = phone.opens(&format!("/my/check/steps?at={code}&form={key}")).await;
            assert_eq!((back.status, back.leads_to()), (StatusCode::SEE_OTHER, sent.leads_to()));
        }
        let old = [("form_key", key.as_str()), ("step", "pain"), ("pain", "9"), ("go", "next")];
        assert_eq!(phone.presses("/my/check/steps", &old).await.leads_to(), sent.leads_to());
        assert_eq!(phone.checks().await.len(), 1);
        assert!(drafts(&practice).await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn a_danger_tick_in_the_first_step_is_sent_at_once_with_its_advice() {
    on_each_engine(async |practice| {
        let phone = meets_all(&practice, Language::Spanish).await;
        let first = phone.opens("/my/check/steps").await;
        let sent = goes_on(&phone, &first, &[("danger", "bleed"), ("danger", "none")]).await;
        sent.must_say("Llame ya al 911").must_say("Apriete fuerte con un paño limpio.");
        sent.must_say("Me operaron hace 4 días. Tengo una herida abierta")
            .must_say("Mi herida sangra y no para.");
        let check = phone.checks().await.remove(0);
        assert_eq!(check.assessment.urgency, Urgency::GoNow);
        assert!(drafts(&practice).await.is_empty());
        // A tick that is set on the way back is sent too, with everything that was typed.
        let first = phone.opens("/my/check/steps").await;
        let feel = goes_on(&phone, &first, &[("danger", "none")]).await;
        let skin = goes_on(&phone, &feel, &[("better", "worse"), ("temp", "37,2"), ("chills", "no")]).await;
        let feel = presses_in(&phone, &skin, "back", &[]).await;
        let first =
            presses_in(&phone, &feel, "back", &[("better", "worse"), ("temp", "37,2"), ("chills", "no")])
                .await;
        assert!(is_checked(&first, "a-danger-none"));
        goes_on(&phone, &first, &[("danger", "breath")]).await.must_say("Llame ya al 911");
        let check = phone.checks().await.remove(0);
        assert_eq!(check.assessment.urgency, Urgency::GoNow);
        assert!(check.answers.better.known().is_some());
    })
    .await;
}

#[tokio::test]
async fn a_slip_is_shown_on_its_step_with_everything_typed_and_never_in_the_way() {
    on_each_engine(async |practice| {
        let phone = meets_all(&practice, Language::English).await;
        let first = phone.opens("/my/check/steps").await;
        let feel = goes_on(&phone, &first, &[("danger", "none")]).await;
        let typed = [("better", "same"), ("temp", "61"), ("temp_unit", "f"), ("chills", "no")];
        let slip = goes_on(&phone, &feel, &typed).await;
        slip.must_say("Step 2 of")
            .must_say("A body has 30 to 43 °C")
            .must_say("What you typed is still here.");
        assert_eq!(slip.field("temp").as_deref(), Some("61"));
        assert!(is_checked(&slip, "a-temp_unit-f"));
        // Left as it is, the check goes on with what was clear.
        let skin = presses_in(&phone, &slip, "anyway", &typed).await;
        skin.must_say("The skin around it");
        // It is still asked about when the step is opened again.
        phone.opens("/my/check/steps?at=feel").await.must_say("A body has 30 to 43 °C");
        let key = skin.field("form_key").unwrap();
        let sent = phone
            .posts_files(
                "/my/check/steps/send",
                &[("form_key", &key), ("step", "last"), ("phone", "555-0187")],
                &[],
            )
            .await;
        // In, and asked about: the number is no whole one.
        assert_eq!(sent.status, StatusCode::UNPROCESSABLE_ENTITY);
        sent.must_say("We have your check.").must_say("“555-0187” is not a whole phone number.");
        assert_eq!(sent.field("form_key").as_deref(), Some(key.as_str()));
        assert_eq!(sent.field("temp").as_deref(), Some("61"));
        let check = phone.checks().await.remove(0);
        assert_eq!((check.answers.temp.clone(), phone.checks().await.len()), (Said::Blank, 1));
        assert_eq!(check.answers.phone.known().unwrap().entered, "555-0187");
    })
    .await;
}

#[tokio::test]
async fn low_sugar_in_a_step_is_told_on_the_next_page_with_both_limits() {
    on_each_engine(async |practice| {
        let phone = meets_all(&practice, Language::English).await;
        for (sugar, unit, low, very_low) in [
            ("70", "mg_dl", false, false),
            ("69", "mg_dl", true, false),
            ("54", "mg_dl", true, false),
            ("53", "mg_dl", false, true),
            ("3.9", "mmol_l", false, false),
            ("2.9", "mmol_l", false, true),
            ("lo", "mg_dl", false, true),
        ] {
            let page = phone.opens("/my/check/steps?at=sugar").await;
            let next = goes_on(&phone, &page, &[("sugar", sugar), ("sugar_unit", unit)]).await;
            assert_eq!(next.says("Sugar under 70 mg/dL"), low, "{sugar} {unit}");
            assert_eq!(next.says("Sugar under 54 mg/dL"), very_low, "{sugar} {unit}");
        }
        assert!(phone.checks().await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn an_unfinished_check_is_gone_on_with_on_its_own_phone_and_begun_afresh_when_wished() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let first = phone.opens("/my/check/steps").await;
        goes_on(&phone, &first, &[("danger", "none")]).await;
        practice.minutes_pass(90);
        let on = phone.opens("/my/check/steps").await;
        on.must_say("Step 2 of 9")
            .must_say("You began this check: 11:00 am")
            .must_say("Start again from the top");
        // The same link on another phone shows nothing of it.
        let other = phone.patient.opens_link().await;
        other.opens("/my").await.must_not_say("Go on with the check");
        let fresh = other.opens("/my/check/steps").await;
        fresh.must_say("Step 1 of 9");
        let key = on.field("form_key").unwrap();
        let fields = [("form_key", key.as_str()), ("step", "pain"), ("pain", "9")];
        assert_eq!(other.presses("/my/check/steps", &fields).await.status, StatusCode::NOT_FOUND);
        let afresh = phone.presses("/my/check/steps", &[("form_key", &key), ("go", "afresh")]).await;
        assert_eq!(afresh.leads_to(), "/my/check/steps");
        assert!(drafts(&practice).await.is_empty());
        // In the other language, with what is typed on the step.
        let first = phone.opens("/my/check/steps").await;
        let feel = goes_on(&phone, &first, &[("danger", "none")]).await;
        let in_spanish = goes_on(&phone, &feel, &[("language", "es"), ("temp", "37,1")]).await;
        in_spanish.must_say("Paso 2 de 9");
        assert_eq!(in_spanish.field("temp").as_deref(), Some("37,1"));
        let unknown = goes_on(&phone, &in_spanish, &[("language", "xx"), ("temp", "37,1")]).await;
        unknown.must_say("Paso 2 de 9");
        assert_eq!(unknown.field("temp").as_deref(), Some("37,1"));
        // Leaving the phone takes it along.
        phone.presses("/my/leave", &[]).await;
        assert!(drafts(&practice).await.is_empty());
    })
    .await;
}

#[tokio::test]
async fn a_draft_is_offered_for_three_days_and_deleted_when_the_next_one_is_begun() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        goes_on(&phone, &phone.opens("/my/check/steps").await, &[("danger", "none")]).await;
        practice.minutes_pass(3 * 24 * 60);
        phone.opens("/my").await.must_say("Go on with the check you began");
        practice.app.clock.pass(SignedDuration::from_millis(1));
        phone.opens("/my").await.must_not_say("Go on with the check you began");
        let first = phone.opens("/my/check/steps").await;
        first.must_say("Step 1 of 9");
        assert_eq!(drafts(&practice).await.len(), 1);
        goes_on(&phone, &first, &[("danger", "none")]).await;
        assert_eq!(drafts(&practice).await.len(), 1, "the old one is gone");
    })
    .await;
}

#[tokio::test]
async fn odd_steps_lose_nothing_and_break_nothing() {
    on_each_engine(async |practice| {
        let phone = a_phone(&practice).await;
        let fields = [("form_key", "k"), ("step", "no-such-step"), ("pain", "9"), ("seen", "pain")];
        assert_eq!(phone.presses("/my/check/steps", &fields).await.leads_to(), "/my/check/steps");
        assert!(drafts(&practice).await.is_empty());
        phone.opens("/my/check/steps?at=no-such-step").await.must_say("Step 1 of 9");
        // A field of another step is not taken over by this one.
        phone
            .presses(
                "/my/check/steps",
                &[("form_key", "k"), ("step", "pain"), ("pain", "4"), ("edge", "thin")],
            )
            .await;
        let skin = phone.opens("/my/check/steps?at=skin").await;
        assert!(!is_checked(&skin, "a-edge-thin"));
        let pain = phone.opens("/my/check/steps?at=pain").await;
        assert!(is_checked(&pain, "a-pain-4"));
        let huge = "a".repeat(20_000);
        let page =
            phone.presses("/my/check/steps", &[("form_key", "k"), ("step", "feel"), ("temp", &huge)]).await;
        assert_eq!(page.status, StatusCode::PAYLOAD_TOO_LARGE);
        // Without a key it is a check of its own.
        let page = phone.presses("/my/check/steps", &[("step", "danger"), ("danger", "none")]).await;
        assert_eq!(page.status, StatusCode::SEE_OTHER);
    })
    .await;
}

#[tokio::test]
async fn questions_for_some_are_asked_of_them_alone_and_their_answers_count() {
    on_each_engine(async |practice| {
        let phone = meets_all(&practice, Language::English).await;
        let page = phone.opens("/my/check?page=one").await;
        for asked in [
            "How many doses did you throw up?",
            "How many hours ago did you last pee?",
            "Heart beats in one minute?",
        ] {
            page.must_say(asked);
        }
        page.must_not_say("Is the finger stuck bent");
        let hand = practice
            .phone_of("Ben Moore", Language::English, RiskFactors::default(), at(Site::Hand, &practice))
            .await;
        let page = hand.opens("/my/check?page=one").await;
        page.must_say("Is the finger stuck bent").must_not_say("How many doses").must_not_say("last pee");
        let fields = [
            ("form_key", "k"),
            ("danger", "none"),
            ("pills_missed", "0"),
            ("pills_vomited", "0"),
            ("rash", "hives"),
            ("loose_stools", "0"),
            ("pee", "9"),
            ("pee_signs", "urge"),
            ("pulse", "88"),
            ("pressure", "124/80"),
        ];
        let sent = phone.posts_files("/my/check", &fields, &[]).await;
        assert_eq!(sent.status, StatusCode::SEE_OTHER, "{}", sent.words());
        let check = phone.checks().await.remove(0);
        let fired: Vec<&str> =
            check.assessment.reasons.iter().map(|reason| reason.rule_id.as_str()).collect();
        assert!(fired.contains(&"no-pee"), "{fired:?}");
        assert_eq!(check.answers.pressure, Said::Is(124));
        assert_eq!(check.assessment.urgency, Urgency::RingNow);
    })
    .await;
}

#[tokio::test]
async fn what_does_not_fit_together_is_shown_to_the_surgeon_and_the_worse_stands() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let phone = practice.office().await.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        let fields = [
            ("form_key", "k"),
            ("danger", "none"),
            ("drain", "none"),
            ("drain_amount", "more"),
            ("edge", "none"),
            ("edge_mm", "40"),
            ("strip", "never_had"),
            ("finger", "yes"),
        ];
        let sent = phone.posts_files("/my/check", &fields, &[]).await;
        let check = phone.checks().await.remove(0);
        let page = surgeon.opens(&format!("/checks/{}", check.id)).await;
        page.must_say("Answers that do not fit together");
        page.must_say("Amount since yesterday: more stands; against it: nothing is said to come out");
        page.must_say("Redness reaches: no redness; and 40 mm, by ruler stands");
        page.must_say("Gauze strip: never had one stands; against it: a strip was put in at the operation");
        page.must_say("Finger stuck bent, swollen, hurts to straighten yes not asked");
        // The patient is not asked again after sending: a person asks.
        phone.opens(sent.leads_to()).await.must_not_say("fit together");
        let calm = phone
            .posts_files("/my/check", &[("form_key", "k2"), ("danger", "none"), ("pain", "2")], &[])
            .await;
        assert_eq!(calm.status, StatusCode::SEE_OTHER);
        let check = phone.checks().await.remove(0);
        surgeon.opens(&format!("/checks/{}", check.id)).await.must_not_say("do not fit together");
    })
    .await;
}

#[tokio::test]
async fn the_number_to_ring_reaches_surgeon_and_office_and_nothing_else() {
    on_each_engine(async |practice| {
        let surgeon = practice.surgeon().await;
        let office = practice.office().await;
        let phone = office.enrols("Ana Ortiz", &surgeon).await.opens_link().await;
        let fields = [
            ("form_key", "k"),
            ("danger", "none"),
            ("chills", "shaking"),
            ("phone", TYPED_PHONE),
            ("voicemail", "no"),
        ];
        phone.posts_files("/my/check", &fields, &[]).await.is_fine();
        let check = phone.checks().await.remove(0);
        let page = surgeon.opens(&format!("/checks/{}", check.id)).await;
        page.must_say("Best phone for 2 hours +12025550187").must_say("Voice message there no");
        surgeon.decides(check.id, Decision::CallByOffice, "We will ring you.").await.unwrap();
        let call = office.reads_callbacks().await.remove(0);
        let page = office.opens(&format!("/callbacks/{}", call.callback.id)).await;
        page.must_say("Number with the check +12025550187").must_say("Leave no voice message there.");
        assert!(page.html().contains("href=\"tel:+12025550187\""));
        let mut books = practice.books().await;
        let lines = audit::newest(&mut books, practice.id, 1_000).await.unwrap();
        assert!(!lines.is_empty());
        for (table, rows) in rows_of(&mut books, practice.id).await {
            let holds = rows.iter().any(|row| row.contains(DIGITS) || row.contains("555-0187"));
            // The answers of the check, and their versions.
            assert_eq!(holds, ["wound_check", "answers_version"].contains(&table.as_str()), "{table}");
        }
        assert!(!format!("{:?}", check).contains("555-0187") && !format!("{check:?}").contains(DIGITS));
        phone.opens("/my").await.must_not_say("0187");
        phone.opens("/my/check").await.must_not_say("0187");
    })
    .await;
}

#[tokio::test]
async fn last_times_answers_stand_beside_the_questions_once_the_pin_was_given_and_are_never_filled_in() {
    on_each_engine(async |practice| {
        for (language, name, temp, drain, danger) in [
            (
                Language::English,
                "Ana Ortiz",
                "Last time: 37,2 °C",
                "Last time: Clear or pink",
                "Last time: None of these",
            ),
            (
                Language::Spanish,
                "Eva Ruiz",
                "La vez pasada: 37,2 °C",
                "La vez pasada: Claro o rosado",
                "La vez pasada: Nada de esto",
            ),
        ] {
            let phone =
                practice.phone_of(name, language, RiskFactors::default(), operation(practice.now())).await;
            let fields = [
                ("form_key", "k"),
                ("danger", "none"),
                ("temp", "37,2"),
                ("drain", "clear"),
                ("pain", "3"),
                ("words", "CANARY-WORDS"),
                ("phone", TYPED_PHONE),
            ];
            phone.posts_files("/my/check", &fields, &[]).await.is_fine();
            // Whoever holds the link alone sees nothing of it.
            for path in
                ["/my/check", "/my/check?page=one", "/my/check/steps?at=feel", "/my/check/steps?at=fluid"]
            {
                phone
                    .opens(path)
                    .await
                    .must_not_say("37,2")
                    .must_not_say("Last time")
                    .must_not_say("La vez pasada");
            }
            phone.types_pin().await;
            let page = phone.opens("/my/check").await;
            page.must_say(temp).must_say(drain).must_say(danger);
            page.must_not_say("CANARY-WORDS").must_not_say("0187");
            assert_eq!(page.field("temp").as_deref(), Some(""));
            for id in ["a-danger-none", "a-drain-clear", "a-pain-3"] {
                assert!(!is_checked(&page, id), "{id} is filled in");
            }
            let feel = phone.opens("/my/check/steps?at=feel").await;
            feel.must_say(temp);
            assert_eq!(feel.field("temp").as_deref(), Some(""));
            let lines = audit::newest(&mut *practice.books().await, practice.id, 50).await.unwrap();
            assert!(lines.iter().any(|line| line.action == "answers.view"));
            // A check is not compared with itself: fixing it still shows the one before.
            let slip = [("form_key", "k2"), ("danger", "none"), ("temp", "61")];
            phone.posts_files("/my/check", &slip, &[]).await.must_say(temp);
            // Seven days on the PIN is asked for again, and nothing is shown.
            practice.minutes_pass(7 * 24 * 60);
            phone.opens("/my/check").await.must_not_say("37,2");
        }
    })
    .await;
}
