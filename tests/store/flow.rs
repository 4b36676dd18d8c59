//! The whole way of a wound check, on both engines: enrolled, sent, ranked, decided, called, read, asked back.

use jiff::SignedDuration;

use closewatch::care::CareError;
use closewatch::care::callback;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::knock;
use closewatch::care::knock::AtTheDoor;
use closewatch::care::knock::Knock;
use closewatch::care::knock::PinTry;
use closewatch::care::review;
use closewatch::care::sign_in;
use closewatch::care::sign_in::Knocking;
use closewatch::care::sign_in::SignIn;
use closewatch::care::thread;
use closewatch::ids::WoundCheckId;
use closewatch::store::callbacks::CallbackState;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::WoundCheck;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;

use crate::support::PASSWORD;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::with_temperature;

async fn check_of(practice: &Practice, id: WoundCheckId) -> WoundCheck {
    checks::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap()
}

#[tokio::test]
async fn a_check_goes_all_the_way_from_the_phone_to_the_answer_that_was_read() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let phone = patient.opens_link().await;
        let receipt = phone.sends("form", with_temperature(389), &[jpeg(5)]).await;
        assert_eq!(receipt.photos_here, 1);

        let rows = surgeon.reads_queue().await;
        assert_eq!(rows.len(), 1);
        assert_eq!((rows[0].patient_name.as_str(), rows[0].photos_here), ("Mia Stone", 1));
        assert_eq!(rows[0].due, receipt.due);
        assert!(!rows[0].assessment.reasons.is_empty(), "a fever is a reason");

        practice.minutes_pass(20);
        let decision = Decision::HealingAsExpected;
        surgeon.decides(receipt.check, decision, "It looks the way I expect.").await.unwrap();
        assert!(surgeon.reads_queue().await.is_empty());
        assert_eq!(check_of(&practice, receipt.check).await.state, CheckState::Closed);

        let holder = phone.holder().await;
        let unread = thread::home(practice.desk(), &holder, practice.now()).await.unwrap().unread;
        assert_eq!(unread, 1);
        let locked = thread::read(practice.desk(), &holder, practice.now()).await;
        assert!(matches!(locked, Err(CareError::NotAllowed)), "answers need the PIN");
        assert_eq!(phone.types_pin().await, PinTry::Right);
        let holder = phone.holder().await;
        let answered = thread::read(practice.desk(), &holder, practice.now()).await.unwrap();
        assert_eq!(answered.messages[0].body, "It looks the way I expect.");
        thread::mark_read(practice.desk(), &holder, answered.messages[0].id, practice.now()).await.unwrap();
        assert_eq!(thread::home(practice.desk(), &holder, practice.now()).await.unwrap().unread, 0);

        thread::ask(practice.desk(), &holder, "ask", "May I swim?", &practice.moment()).await.unwrap();
        thread::ask(practice.desk(), &holder, "ask", "May I swim?", &practice.moment()).await.unwrap();
        let rows = surgeon.reads_queue().await;
        assert_eq!(rows.len(), 1, "the check waits again with the question");
        let again = check_of(&practice, receipt.check).await;
        assert!(again.assessment.urgency >= Urgency::Today);
        let opened = review::view(practice.desk(), &surgeon.member, receipt.check, practice.now()).await;
        assert_eq!(opened.unwrap().thread.len(), 2, "a doubled question is one");
    })
    .await;
}

async fn to_be_called(practice: &Practice, office: &Staff, surgeon: &Staff, name: &str) -> WoundCheckId {
    let phone = office.enrols(name, surgeon).await.opens_link().await;
    let check = phone.sends("form", no_danger(), &[]).await.check;
    surgeon.decides(check, Decision::CallByOffice, "We will ring you.").await.unwrap();
    assert_eq!(check_of(practice, check).await.state, CheckState::AwaitingCall);
    check
}

#[tokio::test]
async fn the_office_rings_until_somebody_answers_and_the_check_closes_with_the_call() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let check = to_be_called(&practice, &office, &surgeon, "Mia Stone").await;
        assert!(surgeon.reads_queue().await.is_empty(), "what the office has is not in the surgeon's queue");
        let first = office.reads_callbacks().await.remove(0);
        let class = first.callback.urgency;
        office.rings(&first, CallResult::NoAnswer, None).await.unwrap();
        assert_eq!(office.reads_callbacks().await[0].callback.urgency, class);
        practice.minutes_pass(10);
        office.rings(&first, CallResult::MessageLeft, None).await.unwrap();
        let raised = office.reads_callbacks().await.remove(0);
        assert_eq!(raised.callback.urgency, class.raised_once(), "two missed attempts raise it once");
        assert_eq!(raised.attempts.len(), 2);
        assert!(raised.callback.due <= practice.now() + SignedDuration::from_mins(10));

        let could_not = office.rings(&first, CallResult::Spoke, Some(CallOutcome::CouldNotReach)).await;
        assert!(matches!(could_not, Err(CareError::Entered(_))), "whoever spoke did reach");
        assert_eq!(office.reads_callbacks().await[0].attempts.len(), 2, "a refused entry leaves no attempt");

        office.rings(&first, CallResult::Spoke, Some(CallOutcome::WillFollowAdvice)).await.unwrap();
        assert!(office.reads_callbacks().await.is_empty());
        assert_eq!(check_of(&practice, check).await.state, CheckState::Closed);
        let late = office.rings(&first, CallResult::NoAnswer, None).await;
        assert!(matches!(late, Err(CareError::AlreadyDone)));
    })
    .await;
}

#[tokio::test]
async fn could_not_reach_needs_two_tries_ten_minutes_apart_and_goes_back_to_the_surgeon() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let check = to_be_called(&practice, &office, &surgeon, "Mia Stone").await;
        let call = office.reads_callbacks().await.remove(0);
        let gives_up = async || {
            callback::could_not_reach(practice.desk(), &office.member, call.callback.id, practice.now()).await
        };
        assert!(matches!(gives_up().await, Err(CareError::Entered(_))));
        office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
        assert!(matches!(gives_up().await, Err(CareError::Entered(_))));
        practice.minutes_pass(9);
        office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
        assert!(matches!(gives_up().await, Err(CareError::Entered(_))), "nine minutes apart is too soon");
        practice.minutes_pass(1);
        office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
        gives_up().await.unwrap();
        assert_eq!(check_of(&practice, check).await.state, CheckState::Queued);
        let ended = callback::list(practice.desk(), &office.member, practice.now()).await.unwrap().ended;
        assert_eq!(ended[0].callback.state, CallbackState::HandedBack);
        assert_eq!(ended[0].callback.outcome, Some(CallOutcome::CouldNotReach));
    })
    .await;
}

#[tokio::test]
async fn a_call_about_an_emergency_never_ends_without_a_voice() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        surgeon.decides(check, Decision::CallByOffice, "").await.unwrap();
        let call = office.reads_callbacks().await.remove(0);
        assert!(call.about_go_now);
        for _ in 0..3 {
            office.rings(&call, CallResult::NoAnswer, None).await.unwrap();
            practice.minutes_pass(10);
        }
        let now = practice.now();
        let gave_up = callback::could_not_reach(practice.desk(), &office.member, call.callback.id, now).await;
        assert!(matches!(gave_up, Err(CareError::Entered(_))));
        let note = callback::hand_back(practice.desk(), &office.member, call.callback.id, "  ", now).await;
        assert!(matches!(note, Err(CareError::Entered(_))), "handing back needs a word on why");
        let note = "Nobody answers on either number.";
        callback::hand_back(practice.desk(), &office.member, call.callback.id, note, now).await.unwrap();
        assert_eq!(surgeon.reads_queue().await[0].id, check);
    })
    .await;
}

#[tokio::test]
async fn answers_that_say_more_bring_a_decided_check_back_to_the_surgeon() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "Fine.").await.unwrap();
        phone.sends("form", no_danger(), &[]).await;
        assert!(surgeon.reads_queue().await.is_empty(), "the same body again is a retry, not news");
        phone.sends("form", in_danger(), &[]).await;
        assert_eq!(surgeon.reads_queue().await[0].id, check);

        let other = to_be_called(&practice, &office, &surgeon, "Ben Ash").await;
        practice.minutes_pass(1);
        let late = checks::find(&mut *practice.books().await, practice.id, other).await.unwrap().unwrap();
        assert_eq!(late.state, CheckState::AwaitingCall);
    })
    .await;
}

#[tokio::test]
async fn a_question_asked_while_a_call_waits_reaches_the_surgeon_and_outlives_the_call() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::CallByOffice, "We will ring you.").await.unwrap();
        let holder = phone.holder().await;
        thread::ask(practice.desk(), &holder, "ask", "Can I shower?", &practice.moment()).await.unwrap();
        assert_eq!(surgeon.reads_queue().await[0].id, check);

        let call = office.reads_callbacks().await.remove(0);
        office.rings(&call, CallResult::Spoke, Some(CallOutcome::WillFollowAdvice)).await.unwrap();
        assert!(office.reads_callbacks().await.is_empty());
        assert_eq!(
            check_of(&practice, check).await.state,
            CheckState::Queued,
            "the question ended with the call"
        );
    })
    .await;
}

#[tokio::test]
async fn a_claimed_check_is_refused_to_others_and_a_decided_one_to_everyone() {
    on_each_engine(async |practice| {
        let office = practice.office().await;
        let (first, second) = (practice.surgeon().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &first).await.opens_link().await;
        let check = phone.sends("form", no_danger(), &[]).await.check;
        let desk = practice.desk();
        review::open(desk, &first.member, check, practice.now()).await.unwrap();
        let refused = second.decides(check, Decision::HealingAsExpected, "Fine.").await;
        assert!(matches!(refused, Err(CareError::Claimed { .. })));
        review::release(desk, &second.member, check, &practice.moment()).await.unwrap();
        let refused = second.decides(check, Decision::HealingAsExpected, "Fine.").await;
        assert!(matches!(refused, Err(CareError::Claimed { .. })), "only the claimant gives a check back");
        review::release(desk, &first.member, check, &practice.moment()).await.unwrap();
        second.decides(check, Decision::HealingAsExpected, "Fine.").await.unwrap();
        let again = first.decides(check, Decision::ChangeHomeCare, "Wash more.").await;
        assert!(matches!(again, Err(CareError::AlreadyDone)));
    })
    .await;
}

#[tokio::test]
async fn a_decision_without_an_answer_or_with_an_unfilled_blank_is_refused() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", no_danger(), &[]).await.check;
        for reply in ["", "   ", "See you on {day}."] {
            let refused = surgeon.decides(check, Decision::HealingAsExpected, reply).await;
            assert!(matches!(refused, Err(CareError::Entered(_))), "{reply:?}");
        }
        surgeon.decides(check, Decision::CallByOffice, "").await.unwrap();
    })
    .await;
}

#[tokio::test]
async fn a_form_that_enrolled_once_enrols_once_however_often_it_is_sent() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let sends = (0..6).map(|_| office.tries_to_enrol("Mia Stone", &surgeon, "one form"));
        let enrolled: Vec<_> =
            futures::future::join_all(sends).await.into_iter().map(|sent| sent.unwrap()).collect();
        assert!(enrolled.iter().all(|one| one.wound.id == enrolled[0].wound.id));
        assert_eq!(enrolled.iter().filter(|one| one.issued.is_some()).count(), 1);
        assert_eq!(crate::support::count(&mut *practice.books().await, "patient").await, 1);
    })
    .await;
}

#[tokio::test]
async fn a_revoked_or_expired_link_opens_nothing_and_its_phones_are_out() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let phone = patient.opens_link().await;
        let (desk, wound) = (practice.desk(), patient.enrolled.wound.id);
        let (_, _, second) = closewatch::care::enrol::issue_link(
            desk,
            &office.member,
            wound,
            "daughter Ana",
            &practice.moment(),
        )
        .await
        .unwrap();
        let link = patient.issued.link.id;
        let holder = phone.holder().await;
        phone.sends("in time", no_danger(), &[]).await;
        closewatch::care::enrol::revoke_link(desk, &office.member, link, practice.now()).await.unwrap();
        assert!(knock::holder(desk, &phone.token, practice.now()).await.unwrap().is_none());
        // What was on its way when the link was revoked does not come in.
        let on_its_way = Sending { form_key: "late".to_owned(), answers: no_danger(), photos_expected: 0 };
        let came = intake::receive(desk, &holder, on_its_way, Vec::new(), &practice.moment()).await;
        assert!(matches!(came, Err(CareError::LinkClosed)), "{came:?}");
        let photo = intake::prepare_photo(desk, jpeg(2), 1, None).await.unwrap();
        let came = intake::add_photo(desk, &holder, "in time", photo, &practice.moment()).await;
        assert!(matches!(came, Err(CareError::LinkClosed)), "{came:?}");
        let asked = thread::ask(desk, &holder, "asked", "May I shower?", &practice.moment()).await;
        assert!(matches!(asked, Err(CareError::LinkClosed)), "{asked:?}");
        let knocked = async |token: &str| {
            knock::knock(desk, token, AtTheDoor::default(), &practice.moment()).await.unwrap()
        };
        let by_code = async |code: &str| {
            knock::knock_with_code(desk, code, AtTheDoor::default(), &practice.moment()).await.unwrap()
        };
        assert!(matches!(knocked(patient.issued.token.reveal()).await, Knock::Closed { .. }));
        assert!(matches!(knocked(second.token.reveal()).await, Knock::Open { .. }));
        let opened = by_code(second.code.reveal()).await;
        assert!(matches!(opened, Knock::Open { .. }));
        let wrong = format!("{}000000000000", &second.code.reveal()[..4]);
        let opened = by_code(&wrong).await;
        assert!(matches!(opened, Knock::Unknown));
        // The link outlives the plan by two weeks: 90 + 14 days.
        practice.minutes_pass(104 * 24 * 60 + 1);
        assert!(matches!(knocked(second.token.reveal()).await, Knock::Closed { .. }));
    })
    .await;
}

#[tokio::test]
async fn wrong_pins_make_reading_wait_but_never_sending() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let wrong = if phone.patient.issued.pin.reveal() == "864209" { "864208" } else { "864209" };
        let tries = async |pin: &str| {
            knock::try_pin(practice.desk(), &phone.token, pin, &practice.moment()).await.unwrap()
        };
        for _ in 0..4 {
            assert_eq!(tries(wrong).await, PinTry::Wrong);
        }
        let until = practice.now() + SignedDuration::from_secs(30);
        assert_eq!(tries(wrong).await, PinTry::Wait { until });
        assert_eq!(phone.types_pin().await, PinTry::Wait { until }, "not even the right one is looked at");
        phone.sends("form", no_danger(), &[]).await;
        practice.minutes_pass(1);
        assert_eq!(phone.types_pin().await, PinTry::Right);
        assert!(phone.holder().await.may_read);
        practice.minutes_pass(7 * 24 * 60);
        assert!(!phone.holder().await.may_read, "the PIN opens reading for a week");
    })
    .await;
}

#[tokio::test]
async fn forty_wrong_pins_at_once_are_not_forty_free_guesses() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let tries = (0..40).map(|_| {
            let (practice, token) = (practice.clone(), phone.token.clone());
            tokio::spawn(async move {
                knock::try_pin(practice.desk(), &token, "000000", &practice.moment()).await.unwrap()
            })
        });
        let ended = futures::future::join_all(tries).await;
        let looked_at = ended.iter().filter(|end| matches!(end.as_ref().unwrap(), PinTry::Wrong)).count();
        assert!(looked_at <= 5, "{looked_at} guesses were looked at");
    })
    .await;
}

#[tokio::test]
async fn forty_wrong_passwords_at_once_are_not_forty_free_guesses() {
    on_each_engine(async |practice| {
        let office = practice.office().await;
        let name = office.member.sign_in_name.clone();
        let tries = async |password: &'static str| {
            let (practice, name) = (practice.clone(), name.clone());
            let knocking = Knocking { sign_in_name: &name, password, ..Knocking::default() };
            sign_in::sign_in(practice.desk(), knocking, &practice.moment()).await
        };
        let ended = futures::future::join_all((0..40).map(|_| tries("a wrong password"))).await;
        let sent_away = |end: &Result<SignIn, CareError>| {
            matches!(end, Ok(SignIn::Wait { .. }) | Err(CareError::TooMany { .. }))
        };
        let looked_at = ended.iter().filter(|end| matches!(end, Ok(SignIn::Wrong))).count();
        assert!(ended.iter().filter(|end| sent_away(end)).count() == 40 - looked_at, "{ended:?}");
        assert_eq!(looked_at, 4, "the fifth wrong one already waits");
        assert!(
            matches!(tries(PASSWORD).await, Ok(SignIn::Wait { .. })),
            "not even the right one is looked at"
        );
        practice.minutes_pass(2);
        assert!(matches!(tries(PASSWORD).await, Ok(SignIn::HalfWay { .. })));
        // The right one costs no wait. The count starts again with the second step, and who presses twice gets in twice.
        Staff::signs_in(&practice, office.member.clone()).await;
        let twice = futures::future::join_all((0..2).map(|_| tries(PASSWORD))).await;
        assert!(twice.iter().all(|end| matches!(end, Ok(SignIn::HalfWay { .. }))), "{twice:?}");
    })
    .await;
}
