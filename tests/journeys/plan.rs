//! The care plan through the doors: the strip taken out at home, stuck or not; steps moved, the plan paused and ended;
//! dates in a calendar.

use axum::http::StatusCode;
use axum::http::header;
use jiff::SignedDuration;
use jiff::Timestamp;

use closewatch::care::plan::due_and_missing;
use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::RiskFactors;
use closewatch::plan::Site;
use closewatch::plan::StepKind;
use closewatch::store::plan::KeptStep;
use closewatch::store::strip_attempts;
use closewatch::store::wounds;
use closewatch::store::wounds::Wound;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Said;
use closewatch::triage::StripAnswer;
use closewatch::triage::Urgency;
use closewatch::words::Language;

use crate::support;
use crate::support::ANSWER;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::actions;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::operation;

/// Packed with two strips this many hours ago.
fn packed(practice: &Practice, hours: i64) -> Operation {
    let operated = practice.now() - SignedDuration::from_hours(hours);
    let packing = Some(Packing { pieces: 2, length_cm: Some(60.0), placed: operated });
    Operation { operated, packing, ..operation(practice.now()) }
}

async fn phone(practice: &Practice, hours: i64) -> Phone {
    let packed = packed(practice, hours);
    practice.phone_of("Mia Stone", Language::English, RiskFactors::default(), packed).await
}

async fn wound_of(phone: &Phone) -> Wound {
    let (practice, id) = (&phone.patient.practice, phone.patient.enrolled.wound.id);
    wounds::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap()
}

async fn steps_of(phone: &Phone) -> Vec<KeptStep> {
    let (practice, id) = (&phone.patient.practice, phone.patient.enrolled.wound.id);
    closewatch::store::plan::steps(&mut *practice.books().await, practice.id, id).await.unwrap()
}

/// Kinds of the steps that were due and of which nothing was heard.
async fn missing(practice: &Practice, now: Timestamp) -> Vec<StepKind> {
    let found = due_and_missing(&mut *practice.books().await, practice.id, now).await.unwrap();
    found.into_iter().map(|missing| missing.step.step.kind).collect()
}

async fn presses(phone: &Phone, press: &str) {
    let pressed = phone.presses("/my/strip", &[("press", press)]).await;
    assert_eq!(pressed.leads_to(), "/my/strip", "{}", pressed.words());
}

/// A local time in New York as a form takes it.
fn typed(at: Timestamp) -> String {
    let zone = jiff::tz::TimeZone::get("America/New_York").unwrap();
    at.to_zoned_datetime(zone).datetime().strftime("%Y-%m-%dT%H:%M").to_string()
}

fn hours(count: i64) -> SignedDuration {
    SignedDuration::from_hours(count)
}

fn plan_url(phone: &Phone, what: &str) -> String {
    format!("/wounds/{}/plan{what}", phone.patient.enrolled.wound.id)
}

// Taking the strip out

#[tokio::test]
async fn the_strip_is_taken_out_part_by_part_and_its_times_survive_a_reload_and_a_restart() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        phone.opens("/my").await.must_say("Take the gauze strip out").must_say("Take it out, step by step");
        let page = phone.opens("/my/strip").await;
        page.must_say("Step 1 of 6").must_say("Take it 30 to 45 minutes before you start.");
        page.must_say("Help, it is stuck").must_say("Call 911 now if:").must_say("202-555-0100");
        presses(&phone, "took_pill").await;
        // Eleven in the morning; 30 and 45 minutes later.
        let page = phone.opens("/my/strip").await;
        page.must_say("Step 2 of 6").must_say("Not before: 11:30 am").must_say("Best by: 11:45 am");
        practice.minutes_pass(20);
        // A reload, a second press of the same button, another server: the time stands.
        presses(&phone, "took_pill").await;
        let anew = practice.started_anew();
        let mut other = phone.clone();
        other.patient.practice = anew;
        other.opens("/my/strip").await.must_say("Not before: 11:30 am");
        assert!(other.opens("/my/strip").await.html().contains("data-left-s=\"600\""));
        other.opens("/my").await.must_say("Go on. You began: 11:00 am");
        practice.minutes_pass(15);
        presses(&phone, "soaking").await;
        phone.opens("/my/strip").await.must_say("20 to 30 minutes").must_say("Not before: 11:55 am");
        practice.minutes_pass(25);
        presses(&phone, "pulling").await;
        phone.opens("/my/strip").await.must_say("One slow, steady pull.").must_say("3 to 4 minutes");
        presses(&phone, "came_out").await;
        let page = phone.opens("/my/strip").await;
        page.must_say("Press hard with clean gauze for 10 minutes. Do not peek.");
        page.must_say("it still bleeds? Call 911 now.");
        presses(&phone, "pressing").await;
        phone.opens("/my/strip").await.must_say("Not before: 12:10 pm");
        presses(&phone, "counting").await;
        let page = phone.opens("/my/strip").await;
        page.must_say("2 strips went in.").must_say("about 60 cm (24 in) long");
        assert_eq!(page.field("pieces").as_deref(), Some(""), "nothing is filled in for the patient");
        // A slip loses nothing.
        let slip = [("said", "all_out"), ("pieces", "all"), ("length", "24"), ("unit", "in")];
        let page = phone.presses("/my/strip/say", &slip).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("Type how many pieces came out");
        assert_eq!(page.field("length").as_deref(), Some("24"));
        assert_eq!(wound_of(&phone).await.strip_out, None);

        let out = [("said", "all_out"), ("pieces", "2"), ("length", "24"), ("unit", "in")];
        phone.presses("/my/strip/say", &out).await.is_fine();
        let page = phone.opens("/my/strip").await;
        page.must_say("You told us all of it is out: 12:00 pm").must_not_say("fine").must_not_say("normal");
        assert_eq!(wound_of(&phone).await.strip_out, Some(practice.now()));
        // It is nobody's check yet, and no photo day is taken for done.
        assert!(phone.checks().await.is_empty());
        let done: Vec<StepKind> = steps_of(&phone)
            .await
            .into_iter()
            .filter(|kept| kept.done.is_some())
            .map(|kept| kept.step.kind)
            .collect();
        assert_eq!(done, [StepKind::PackingRemoval]);
        // The next check holds it as an answer, with its time beside it.
        let form = phone.opens("/my/check").await;
        form.must_say("You told us all of it is out: 12:00 pm We keep this with your wound check.");
        phone.sends("the form", no_danger(), &[]).await;
        let check = phone.checks().await.remove(0);
        assert_eq!(check.answers.strip, Said::Is(StripAnswer::AllOut));
        let id = phone.patient.enrolled.wound.id;
        let tried =
            strip_attempts::newest(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap();
        assert_eq!(
            (tried.check, tried.counted.pieces, tried.counted.length_cm),
            (Some(check.id), Some(2), Some(61))
        );
        let done = actions(&practice).await;
        assert!(["strip.part", "strip.say"].iter().all(|action| done.contains(&(*action).to_owned())));
    })
    .await;
}

#[tokio::test]
async fn stuck_goes_to_the_practice_at_once_and_the_questions_after_it_cannot_calm_it() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        presses(&phone, "took_pill").await;
        phone.presses("/my/strip/say", &[("said", "stuck")]).await.is_fine();
        // Pressed twice, it is one check.
        phone.presses("/my/strip/say", &[("said", "stuck")]).await.is_fine();
        let page = phone.opens("/my/strip").await;
        page.must_say("You told us it is stuck: 11:00 am").must_say("The practice has it.");
        page.must_say("Call the practice: 202-555-0100").must_not_say("normal.").must_not_say("fine");
        let checks = phone.checks().await;
        assert_eq!(checks.len(), 1);
        assert_eq!(checks[0].answers.strip, Said::Is(StripAnswer::Stuck));
        assert!(checks[0].assessment.urgency >= Urgency::Today);
        assert_eq!(wound_of(&phone).await.strip_out, None);
        // The questions go on with the same check, and what was said stays in it.
        let form = phone.opens("/my/check?page=one&said=1").await;
        form.must_say("You told us it is stuck: 11:00 am");
        let key = form.field("form_key").unwrap();
        assert_eq!(key, checks[0].form_key);
        let fields = [("form_key", key.as_str()), ("danger", "none"), ("better", "better"), ("pain", "1")];
        let sent = phone.posts_files("/my/check", &fields, &[]).await;
        assert!(sent.leads_to().starts_with("/my/sent/"), "{}", sent.words());
        let checks = phone.checks().await;
        assert_eq!(checks.len(), 1);
        assert_eq!(checks[0].answers.strip, Said::Is(StripAnswer::Stuck));
        assert_eq!(checks[0].answers.pain, Said::Is(1));
        assert!(checks[0].assessment.urgency >= Urgency::Today);
        // It can be tried again, from the first part.
        practice.minutes_pass(1);
        phone.opens("/my/strip?again=1").await.must_say("Step 1 of 6");
        presses(&phone, "no_pill").await;
        phone.opens("/my/strip").await.must_say("Step 3 of 6");
    })
    .await;
}

#[tokio::test]
async fn a_count_that_differs_and_part_of_it_are_never_taken_for_all() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let short = [("said", "all_out"), ("pieces", "1"), ("length", ""), ("unit", "in")];
        phone.presses("/my/strip/say", &short).await.is_fine();
        phone.opens("/my/strip").await.must_say("Your count was not what went in");
        assert_eq!(phone.checks().await[0].answers.strip, Said::Is(StripAnswer::Unsure));
        assert!(phone.checks().await[0].assessment.urgency >= Urgency::Today);
        assert_eq!(wound_of(&phone).await.strip_out, None);
        // All of it, and later more of it: that raises.
        practice.minutes_pass(1);
        let out = [("said", "all_out"), ("pieces", "2"), ("length", ""), ("unit", "in")];
        phone.presses("/my/strip/say", &out).await.is_fine();
        assert!(wound_of(&phone).await.strip_out.is_some());
        practice.minutes_pass(60);
        phone.presses("/my/strip/say", &[("said", "part_out")]).await.is_fine();
        let checks = phone.checks().await;
        assert_eq!(checks.len(), 2);
        assert_eq!(checks[0].answers.strip, Said::Is(StripAnswer::PartOut));
        assert!(checks[0].assessment.urgency >= Urgency::Today);
        // It was not all of it after all: the strip is due again, and missed when it stays in.
        assert_eq!(wound_of(&phone).await.strip_out, None);
        practice.minutes_pass(6 * 60);
        assert!(missing(&practice, practice.now()).await.contains(&StepKind::PackingRemoval));
    })
    .await;
}

#[tokio::test]
async fn the_strip_pages_speak_spanish_and_lead_home_where_there_is_no_strip() {
    on_each_engine(async |practice| {
        let packed = packed(&practice, 20);
        let ines = practice.phone_of("Inés", Language::Spanish, RiskFactors::default(), packed).await;
        let page = ines.opens("/my/strip").await;
        page.must_say("Paso 1 de 6")
            .must_say("Es temprano. Déjela adentro hasta:")
            .must_say("Ayuda, está atorada");
        let without = Operation { packing: None, ..operation(practice.now()) };
        let tom = practice.phone_of("Tom", Language::English, RiskFactors::default(), without).await;
        assert_eq!(tom.opens("/my/strip").await.leads_to(), "/my");
        let pressed = tom.presses("/my/strip", &[("press", "took_pill")]).await;
        assert_eq!(pressed.status, StatusCode::NOT_FOUND);
    })
    .await;
}

// What is missing

#[tokio::test]
async fn what_was_due_is_missed_once_its_time_passed_and_a_check_answers_for_every_day_before() {
    on_each_engine(async |practice| {
        // Enrolled on the day of the operation, at eleven; packed at that hour.
        let phone = phone(&practice, 0).await;
        let start = practice.now();
        assert_eq!(missing(&practice, start + hours(48)).await, [StepKind::Photo]);
        let later = start + hours(48) + SignedDuration::from_millis(1);
        assert_eq!(missing(&practice, later).await, [StepKind::Photo, StepKind::PackingRemoval]);
        practice.minutes_pass(50 * 60);
        phone.sends("day 2", no_danger(), &[]).await;
        // The check answers for yesterday and today; tomorrow's is due at eight in the evening.
        assert_eq!(missing(&practice, start + hours(80)).await, [StepKind::PackingRemoval]);
        let evening = start + hours(81) + SignedDuration::from_millis(1);
        assert_eq!(missing(&practice, evening).await, [StepKind::PackingRemoval, StepKind::Photo]);
        // The strip is late on the patient's page six hours after its time.
        phone.opens("/my").await.must_say("Take the gauze strip out").must_not_say("is late");
        practice.minutes_pass(4 * 60);
        phone.opens("/my").await.must_not_say("The gauze strip is late");
        practice.minutes_pass(1);
        phone.opens("/my").await.must_say("The gauze strip is late: take it out now");
    })
    .await;
}

// By hand

fn step_of(steps: &[KeptStep], kind: StepKind) -> KeptStep {
    steps.iter().find(|kept| kept.step.kind == kind && kept.is_open()).unwrap().clone()
}

#[tokio::test]
async fn the_office_moves_a_step_with_a_reason_and_a_strip_never_to_a_week() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 2).await;
        let (office, placed) = (practice.office().await, practice.now() - hours(2));
        let strip = step_of(&steps_of(&phone).await, StepKind::PackingRemoval);
        let id = strip.id.to_string();
        office.opens(&plan_url(&phone, "")).await.must_say("Strip out").must_say("Mia Stone");
        let moves = async |due: &str, reason: &str| {
            office
                .presses(&plan_url(&phone, "/move"), &[("step", &id), ("due", due), ("reason", reason)])
                .await
        };
        let week = typed(placed + hours(7 * 24));
        let refused = moves(&week, "she travels").await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        refused.must_say("A strip comes out between 1 and 7 days after it was placed, never later.");
        assert!(refused.html().contains("she travels"), "what was typed is lost");
        moves(&typed(placed + hours(60)), " ").await.must_say("Say why, in a few words.");
        moves("", "x").await.must_say("Enter the new date and time.");
        moves("2026-03-08T02:30", "x").await.must_say("this time was skipped");
        moves(&typed(practice.now() - hours(1)), "x").await.must_say("That time has passed.");
        moves(&typed(placed + hours(60)), "she works nights").await.is_fine();
        let moved = step_of(&steps_of(&phone).await, StepKind::PackingRemoval);
        assert_eq!((moved.step.due, moved.sequence), (placed + hours(60), 1));
        let page = office.opens(&plan_url(&phone, "")).await;
        page.must_say("Strip out: moved from").must_say("she works nights").must_say("Pat Moss");
        // The patient's page follows it.
        practice.minutes_pass(55 * 60);
        phone.opens("/my").await.must_say("Due:").must_not_say("is late");
        assert!(actions(&practice).await.contains(&"plan.move".to_owned()));
        // A surgeon may as well, a lead who is neither may not.
        practice.surgeon().await.opens(&plan_url(&phone, "")).await.is_fine();
        assert_eq!(practice.lead().await.opens(&plan_url(&phone, "")).await.status, StatusCode::FORBIDDEN);
    })
    .await;
}

#[tokio::test]
async fn a_paused_plan_asks_for_nothing_until_its_day_and_a_strip_does_not_wait_for_it() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let office = practice.office().await;
        let pauses = async |until: &str, reason: &str| {
            office.presses(&plan_url(&phone, "/pause"), &[("until", until), ("reason", reason)]).await
        };
        pauses("2026-03-14", "in hospital").await.must_say("The strip is not reported out");
        phone.presses("/my/strip/say", &[("said", "all_out"), ("pieces", "2")]).await.is_fine();
        pauses("", "in hospital").await.must_say("Enter the day on which the plan goes on");
        pauses("2026-03-10", "in hospital").await.must_say("That day has passed.");
        pauses("2026-04-08", "in hospital").await.must_say("A pause is at most 28 days.");
        pauses("2026-03-14", "").await.must_say("Say why, in a few words.");
        pauses("2026-03-14", "in hospital").await.is_fine();
        office.opens(&plan_url(&phone, "")).await.must_say("Paused until Saturday, March 14 at 0:00");
        phone.opens("/my").await.must_say("Your plan has a break").must_not_say("Wash the wound");
        practice.minutes_pass(2 * 24 * 60);
        assert!(missing(&practice, practice.now()).await.is_empty());
        let resumed = practice.office().await.presses(&plan_url(&phone, "/resume"), &[]).await;
        resumed.is_fine();
        // What was due in the pause stays away; what is still to come is asked for again.
        let due: Vec<Timestamp> =
            due_and_missing(&mut *practice.books().await, practice.id, practice.now() + hours(24))
                .await
                .unwrap()
                .into_iter()
                .map(|missing| missing.due)
                .collect();
        assert_eq!(due.len(), 1, "{due:?}");
        assert!(due[0] > practice.now());
        phone
            .opens("/my")
            .await
            .must_say("Send a wound check today")
            .must_say("Wash the wound 2 times today");
        let again = practice.office().await.presses(&plan_url(&phone, "/resume"), &[]).await;
        assert_eq!(again.status, StatusCode::CONFLICT);
    })
    .await;
}

async fn ends(phone: &Phone, who: &Staff, why: &str) -> support::Page {
    who.presses(&plan_url(phone, "/end"), &[("why", why), ("reason", "seen on Monday")]).await
}

#[tokio::test]
async fn a_plan_ends_as_healed_by_a_surgeon_and_the_links_close_kindly_two_weeks_later() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        ends(&phone, &office, "").await.must_say("Choose why the plan ends.");
        let refused = ends(&phone, &office, "healed").await;
        refused
            .must_say("Only a surgeon says that a wound has healed.")
            .must_say("Nobody has reported the strip out.");
        phone.presses("/my/strip/say", &[("said", "all_out"), ("pieces", "2")]).await.is_fine();
        let receipt = phone.sends("the last", no_danger(), &[]).await;
        ends(&phone, &surgeon, "healed").await.must_say("A wound check still waits.");
        surgeon.decides(receipt.check, Decision::HealingAsExpected, ANSWER).await.unwrap();
        ends(&phone, &surgeon, "healed").await.is_fine();
        surgeon.opens(&plan_url(&phone, "")).await.must_say("Healed: the skin has closed. Dr. Rosa Lind");
        assert!(steps_of(&phone).await.iter().all(|kept| !kept.is_open()));
        assert!(missing(&practice, practice.now() + hours(24 * 60)).await.is_empty());
        phone.opens("/my").await.must_say("Your surgeon has closed this plan");
        // A last question still finds a person.
        practice.minutes_pass(14 * 24 * 60 - 1);
        phone.opens("/my").await.is_fine();
        phone.sends("one more", no_danger(), &[]).await;
        assert_eq!(practice.surgeon().await.reads_queue().await.len(), 1);
        practice.minutes_pass(1);
        assert_eq!(phone.opens("/my").await.status, StatusCode::GONE);
        let link = format!("/k/{}", phone.patient.issued.token.reveal());
        let closed = phone.presses(&link, &[]).await;
        assert_eq!(closed.status, StatusCode::GONE);
        closed.must_say("This link is closed").must_say("Call Harbor Surgery.").must_say("202-555-0100");
        let again = practice.surgeon().await;
        assert_eq!(ends(&phone, &again, "transferred").await.status, StatusCode::CONFLICT);
    })
    .await;
}

#[tokio::test]
async fn a_patient_is_lost_only_after_two_calls_nobody_answered_an_hour_apart() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        ends(&phone, &office, "lost").await.must_say("A patient is lost only after two calls");
        let receipt = phone.sends("form", no_danger(), &[]).await;
        practice.minutes_pass(1);
        surgeon.decides(receipt.check, Decision::CallByOffice, ANSWER).await.unwrap();
        let call = office.reads_callbacks().await.remove(0);
        office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
        practice.minutes_pass(59);
        office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
        ends(&phone, &practice.office().await, "lost")
            .await
            .must_say("A call to this patient is still open.");
        practice.minutes_pass(1);
        office.rings(&call, CallResult::MessageLeft, None).await.unwrap();
        // Given up: the check goes back to the surgeon, who decides.
        closewatch::care::callback::could_not_reach(
            practice.desk(),
            &office.member,
            call.callback.id,
            practice.now(),
        )
        .await
        .unwrap();
        practice.surgeon().await.decides(receipt.check, Decision::HealingAsExpected, ANSWER).await.unwrap();
        ends(&phone, &practice.office().await, "lost").await.is_fine();
        practice
            .office()
            .await
            .opens(&plan_url(&phone, ""))
            .await
            .must_say("Lost: nobody could reach the patient");
    })
    .await;
}

#[tokio::test]
async fn a_call_that_was_answered_makes_the_earlier_tries_count_no_more() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let receipt = phone.sends("form", no_danger(), &[]).await;
        practice.minutes_pass(1);
        surgeon.decides(receipt.check, Decision::CallByOffice, ANSWER).await.unwrap();
        let call = office.reads_callbacks().await.remove(0);
        for _ in 0..2 {
            office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
            practice.minutes_pass(61);
        }
        office.rings(&call, CallResult::Spoke, Some(CallOutcome::WillFollowAdvice)).await.unwrap();
        practice.minutes_pass(1);
        ends(&phone, &practice.office().await, "lost")
            .await
            .must_say("A patient is lost only after two calls");
    })
    .await;
}

#[tokio::test]
async fn a_visit_the_surgeon_decides_is_a_step_of_the_plan_at_once_and_the_office_notes_who_came() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 49).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let receipt = phone.sends("form", no_danger(), &[]).await;
        surgeon.decides(receipt.check, Decision::ComeIn, ANSWER).await.unwrap();
        let visit = step_of(&steps_of(&phone).await, StepKind::Visit);
        assert_eq!(visit.step.due, practice.now());
        phone.opens("/my").await.must_say("Come to the practice").must_say("When: 11:00 am");
        practice.minutes_pass(1);
        assert_eq!(missing(&practice, practice.now()).await, [StepKind::PackingRemoval, StepKind::Visit]);
        office.opens(&plan_url(&phone, "")).await.must_say("Comes in").must_say("not heard");
        office.presses(&plan_url(&phone, "/came"), &[("step", &visit.id.to_string())]).await.is_fine();
        assert_eq!(missing(&practice, practice.now()).await, [StepKind::PackingRemoval]);
        phone.opens("/my").await.must_not_say("Come to the practice");
    })
    .await;
}

#[tokio::test]
async fn bowel_trouble_near_the_bottom_makes_washing_twice_a_day_from_week_2() {
    on_each_engine(async |practice| {
        let operated = practice.now() - hours(20 * 24);
        let perianal =
            Operation { site: Site::Perianal, operated, packing: None, ..operation(practice.now()) };
        let phone = practice.phone_of("Mia Stone", Language::English, RiskFactors::default(), perianal).await;
        let office = practice.office().await;
        phone.opens("/my").await.must_say("Wash the wound once today");
        office.opens(&plan_url(&phone, "")).await.must_say("Washing from week 2 Once a day.");
        office.presses(&plan_url(&phone, "/wash"), &[("often", "twice")]).await.is_fine();
        phone.opens("/my").await.must_say("Wash the wound 2 times today");
        office.presses(&plan_url(&phone, "/wash"), &[("often", "once")]).await.is_fine();
        phone.opens("/my").await.must_say("Wash the wound once today");
        // Elsewhere on the body there is no such switch.
        let thigh = Operation { site: Site::Thigh, operated, packing: None, ..operation(practice.now()) };
        let tom = practice.phone_of("Tom", Language::English, RiskFactors::default(), thigh).await;
        office.opens(&plan_url(&tom, "")).await.must_not_say("Washing from week 2");
        let refused = office.presses(&plan_url(&tom, "/wash"), &[("often", "twice")]).await;
        assert_eq!(refused.status, StatusCode::NOT_FOUND);
    })
    .await;
}

// The practice's own text

#[tokio::test]
async fn a_lead_changes_the_text_in_both_languages_and_the_patient_reads_it_at_once() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let lead = practice.lead().await;
        let page = lead.opens("/practice/plan-text").await;
        page.must_say("The text the program comes with.");
        let mut fields = all_fields(&page);
        let set = |fields: &mut Vec<(String, String)>, name: &str, value: &str| {
            fields.iter_mut().find(|(field, _)| field == name).unwrap().1 = value.to_owned();
        };
        set(&mut fields, "packing_removal_title_en", "Time for the strip");
        set(&mut fields, "packing_removal_title_es", "");
        set(&mut fields, "strip_due_h", "80");
        let back = lead.presses("/practice/plan-text", &borrowed(&fields)).await;
        assert_eq!(back.status, StatusCode::UNPROCESSABLE_ENTITY);
        back.must_say("The title is missing in Spanish. Write it in both languages.");
        back.must_say("Strip due out after: from 24 to 72 hours.");
        assert!(back.html().contains("Time for the strip"), "what was typed is lost");
        set(&mut fields, "packing_removal_title_es", "Hora de la tira");
        set(&mut fields, "strip_due_h", "48");
        set(&mut fields, "soak_min", "25");
        lead.presses("/practice/plan-text", &borrowed(&fields)).await.is_fine();
        phone.opens("/my").await.must_say("Time for the strip");
        presses(&phone, "no_pill").await;
        phone.opens("/my/strip").await.must_say("for 25 to 30 minutes").must_say("Not before: 11:25 am");
        lead.opens("/practice/plan-text").await.must_say("Version 1, saved 11:00.");
        // The page somebody left open is not the newest any more.
        let stale = lead.presses("/practice/plan-text", &borrowed(&fields)).await;
        assert_eq!(stale.status, StatusCode::CONFLICT);
        assert_eq!(practice.office().await.opens("/practice/plan-text").await.status, StatusCode::FORBIDDEN);
        assert!(actions(&practice).await.contains(&"plan_text.keep".to_owned()));
    })
    .await;
}

fn borrowed(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect()
}

/// Every input and text area of a page with what stands in it.
fn all_fields(page: &support::Page) -> Vec<(String, String)> {
    let html = page.html();
    let mut fields = Vec::new();
    for tag in support::tags(&html).into_iter().filter(|tag| tag.starts_with("input ")) {
        if let (Some(name), Some(value)) = (support::attribute(tag, "name"), support::attribute(tag, "value"))
        {
            fields.push((name, value));
        }
    }
    for part in html.split("<textarea ").skip(1) {
        let name = support::attribute(&format!("textarea {part}"), "name").unwrap();
        let value = part.split_once('>').unwrap().1.split("</textarea>").next().unwrap();
        fields.push((name, support::words_of(value)));
    }
    fields
}

// The calendar

#[tokio::test]
async fn a_calendar_address_tells_dates_and_nothing_else_and_ends_with_the_link() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 2).await;
        let office = practice.office().await;
        phone.opens("/my/calendar").await.must_say("Make an address for my calendar");
        let made = phone.presses("/my/calendar", &[]).await;
        let html = made.html();
        let address =
            html.split("https://wounds.example").nth(1).unwrap().split('"').next().unwrap().to_owned();
        phone.opens("/my/calendar").await.must_say("You have an address.").must_not_say("/c/");
        let stranger = Phone { cookie: String::new(), ..phone.clone() };
        let feed = stranger.opens(&address).await;
        assert_eq!(feed.headers[header::CONTENT_TYPE], "text/calendar; charset=utf-8");
        let text = feed.html();
        assert!(text.starts_with("BEGIN:VCALENDAR\r\n") && text.ends_with("END:VCALENDAR\r\n"));
        assert!(text.contains("SUMMARY;LANGUAGE=en:Closewatch: today's step\r\n"));
        for clinical in ["Mia", "Stone", "Harbor", "wound", "strip", "photo", "Lind"] {
            assert!(!text.to_lowercase().contains(&clinical.to_lowercase()), "{clinical}");
        }
        // A moved step keeps its name and counts up; the strip's entry ends when it is due.
        let strip = step_of(&steps_of(&phone).await, StepKind::PackingRemoval);
        let due = strip.step.due + hours(3);
        let fields = [("step", strip.id.to_string()), ("due", typed(due)), ("reason", "later".to_owned())];
        let fields = fields.each_ref().map(|(name, value)| (*name, value.as_str()));
        office.presses(&plan_url(&phone, "/move"), &fields).await.is_fine();
        let one = phone.opens(&format!("/my/calendar/{}", strip.id)).await.html();
        assert!(
            one.contains(&format!("UID:{}@closewatch\r\n", strip.id)) && one.contains("SEQUENCE:1\r\n"),
            "{one}"
        );
        assert!(one.contains(&format!("DTEND:{}\r\n", due.strftime("%Y%m%dT%H%M%SZ"))), "{one}");
        assert_eq!(one.matches("BEGIN:VEVENT").count(), 1);
        // A new address ends the old one; revoking the link ends the address.
        let second = phone.presses("/my/calendar", &[]).await.html();
        let second =
            second.split("https://wounds.example").nth(1).unwrap().split('"').next().unwrap().to_owned();
        assert_eq!(stranger.opens(&address).await.status, StatusCode::GONE);
        stranger.opens(&second).await.is_fine();
        let link = phone.patient.issued.link.id;
        office.presses(&format!("/links/{link}/revoke"), &[]).await.is_fine();
        assert_eq!(stranger.opens(&second).await.status, StatusCode::GONE);
        assert_eq!(stranger.opens("/c/no-such-address").await.status, StatusCode::GONE);
    })
    .await;
}

#[tokio::test]
async fn an_ended_plan_is_cancelled_in_the_calendar_too() {
    on_each_engine(async |practice| {
        let phone = phone(&practice, 48).await;
        let office = practice.office().await;
        let made = phone.presses("/my/calendar", &[]).await.html();
        let address =
            made.split("https://wounds.example").nth(1).unwrap().split('"').next().unwrap().to_owned();
        assert!(!phone.opens(&address).await.html().contains("STATUS:CANCELLED"));
        ends(&phone, &office, "transferred").await.is_fine();
        let text = phone.opens(&address).await.html();
        assert!(!text.contains("STATUS:CONFIRMED"), "{text}");
        assert!(text.contains("STATUS:CANCELLED") && text.contains("SEQUENCE:1"));
    })
    .await;
}
