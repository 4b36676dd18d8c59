//! Many at once: a doubled press, two people at one check, amendments that overtake each other. On PostgreSQL all of
//! these run side by side; on SQLite they queue.

use std::collections::BTreeSet;

use closewatch::care::CareError;
use closewatch::care::callback;
use closewatch::care::callback::Attempting;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::knock;
use closewatch::care::knock::Held;
use closewatch::care::review;
use closewatch::care::review::Deciding;
use closewatch::care::thread;
use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::late_knocks;
use closewatch::triage::CallOutcome;
use closewatch::triage::CallResult;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;

use crate::support::count;
use crate::support::in_danger;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::with_temperature;

#[tokio::test]
async fn fifty_sends_of_one_form_at_once_are_one_check_with_one_receipt() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let desk = practice.desk();
        let holder = phone.holder().await;
        let photo = intake::prepare_photo(desk, jpeg(1), 1, None).await.unwrap();
        let sends = (0..50).map(|_| {
            let (practice, holder, photo) = (practice.clone(), holder.clone(), photo.clone());
            tokio::spawn(async move {
                let sending =
                    Sending { form_key: "one".to_owned(), answers: in_danger(), photos_expected: 1 };
                let moment = practice.moment();
                intake::receive(practice.desk(), &holder, sending, vec![photo], &moment).await
            })
        });
        let mut receipts = BTreeSet::new();
        for receipt in futures::future::join_all(sends).await {
            let receipt = receipt.unwrap().unwrap();
            receipts.insert(format!("{receipt:?}"));
        }
        assert_eq!(receipts.len(), 1, "{receipts:?}");
        let mut books = practice.books().await;
        for (table, rows) in [("wound_check", 1), ("answers_version", 1), ("photo", 1), ("ladder", 1)] {
            assert_eq!(count(&mut books, table).await, rows, "{table}");
        }
        drop(books);
        assert_eq!(surgeon.reads_queue().await[0].sequence, 1, "no number was lost");
    })
    .await;
}

#[tokio::test]
async fn fifty_checks_of_one_wound_at_once_are_fifty_checks_with_numbers_without_gaps() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let holder = phone.holder().await;
        let sends = (0..50).map(|number| {
            let (practice, holder) = (practice.clone(), holder.clone());
            tokio::spawn(async move {
                let form_key = format!("form {number}");
                let sending = Sending { form_key, answers: no_danger(), photos_expected: 0 };
                intake::receive(practice.desk(), &holder, sending, Vec::new(), &practice.moment()).await
            })
        });
        for receipt in futures::future::join_all(sends).await {
            receipt.unwrap().unwrap();
        }
        let mut numbers: Vec<i64> = phone.checks().await.iter().map(|check| check.sequence).collect();
        numbers.sort_unstable();
        assert_eq!(numbers, (1..=50).collect::<Vec<_>>());
    })
    .await;
}

#[tokio::test]
async fn amendments_that_arrive_at_once_are_all_kept_and_the_gravest_stands() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let holder = phone.holder().await;
        let check = phone.sends("one", no_danger(), &[]).await.check;
        // Fifteen calm bodies, and one that says danger among them.
        let sends = (0..16).map(|number| {
            let (practice, holder) = (practice.clone(), holder.clone());
            tokio::spawn(async move {
                let answers = if number == 5 { in_danger() } else { with_temperature(365 + number) };
                let sending = Sending { form_key: "one".to_owned(), answers, photos_expected: 0 };
                intake::receive(practice.desk(), &holder, sending, Vec::new(), &practice.moment()).await
            })
        });
        for receipt in futures::future::join_all(sends).await {
            receipt.unwrap().unwrap();
        }
        let mut books = practice.books().await;
        let kept = checks::find(&mut books, practice.id, check).await.unwrap().unwrap();
        assert_eq!(kept.assessment.urgency, Urgency::GoNow);
        assert_eq!(count(&mut books, "answers_version").await, 17);
        assert_eq!(audit::first_break(&mut books, practice.id).await.unwrap(), None);
    })
    .await;
}

#[tokio::test]
async fn a_decision_pressed_ten_times_at_once_is_taken_once() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("one", no_danger(), &[]).await.check;
        review::open(practice.desk(), &surgeon.member, check, practice.now()).await.unwrap();
        let presses = (0..10).map(|_| {
            let (practice, surgeon) = (practice.clone(), surgeon.clone());
            tokio::spawn(async move {
                let deciding = Deciding {
                    decision: Decision::CallByOffice,
                    reply: "We will ring you.".to_owned(),
                    note: String::new(),
                    come_in: None,
                    ask: String::new(),
                    judged: None,
                    antibiotic: None,
                    extent: None,
                };
                review::decide(practice.desk(), &surgeon.member, check, deciding, &practice.moment()).await
            })
        });
        let mut taken = 0;
        for press in futures::future::join_all(presses).await {
            match press.unwrap() {
                Ok(_) => taken += 1,
                Err(CareError::AlreadyDone) => {}
                Err(other) => panic!("{other:?}"),
            }
        }
        assert_eq!(taken, 1);
        let mut books = practice.books().await;
        for table in ["review", "message", "callback"] {
            assert_eq!(count(&mut books, table).await, 1, "{table}");
        }
    })
    .await;
}

#[tokio::test]
async fn a_call_ended_by_five_people_at_once_ends_once() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("one", no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::CallByOffice, "We will ring you.").await.unwrap();
        let id = office.reads_callbacks().await[0].callback.id;
        let calls = (0..5).map(|_| {
            let (practice, office) = (practice.clone(), office.clone());
            tokio::spawn(async move {
                let attempting = Attempting {
                    result: CallResult::Spoke,
                    note: String::new(),
                    outcome: Some(CallOutcome::WillFollowAdvice),
                    ..Attempting::of(CallResult::Spoke)
                };
                let moment = practice.moment();
                callback::log_attempt(practice.desk(), &office.member, id, attempting, &moment).await
            })
        });
        let mut ended = 0;
        for call in futures::future::join_all(calls).await {
            match call.unwrap() {
                Ok(()) => ended += 1,
                Err(CareError::AlreadyDone) => {}
                Err(other) => panic!("{other:?}"),
            }
        }
        assert_eq!(ended, 1);
        assert_eq!(count(&mut *practice.books().await, "call_attempt").await, 1);
    })
    .await;
}

/// The patient writes danger into an old form, asks a question, and the office ends the call, all at the same moment.
/// Whoever comes last: the danger stands, and a check with danger that nobody decided waits.
#[tokio::test]
async fn an_amendment_is_never_lost_to_a_call_that_ends_meanwhile() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        for round in 0..8 {
            let phone = office.enrols(&format!("Patient {round}"), &surgeon).await.opens_link().await;
            let check = phone.sends("one", no_danger(), &[]).await.check;
            surgeon.decides(check, Decision::CallByOffice, "We will ring you.").await.unwrap();
            let id = office.reads_callbacks().await[0].callback.id;
            let holder = phone.holder().await;
            let (desk, moment) = (practice.desk(), practice.moment());
            let sending = Sending { form_key: "one".to_owned(), answers: in_danger(), photos_expected: 0 };
            let attempting = Attempting {
                result: CallResult::Spoke,
                note: String::new(),
                outcome: Some(CallOutcome::WillFollowAdvice),
                ..Attempting::of(CallResult::Spoke)
            };
            let amending = intake::receive(desk, &holder, sending, Vec::new(), &moment);
            let ending = callback::log_attempt(desk, &office.member, id, attempting, &moment);
            let asking = thread::ask(desk, &holder, "question", "Is this normal?", &moment);
            let (amended, ended, asked) = tokio::join!(amending, ending, asking);
            amended.unwrap();
            ended.unwrap();
            asked.unwrap();
            let kept = checks::find(&mut *practice.books().await, practice.id, check).await.unwrap().unwrap();
            assert_eq!(kept.assessment.urgency, Urgency::GoNow, "round {round}");
            assert_eq!(kept.answers, in_danger(), "round {round}");
            assert_eq!(kept.state, CheckState::Queued, "round {round}");
        }
    })
    .await;
}

#[tokio::test]
async fn of_ten_who_leave_words_at_once_with_an_expired_link_none_is_written_over() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        // The link outlives the plan by two weeks: 90 + 14 days.
        practice.minutes_pass(104 * 24 * 60 + 1);
        let token = patient.issued.token.reveal().to_owned();
        let leaving = (0..10).map(|number| {
            let (practice, token) = (practice.clone(), token.clone());
            tokio::spawn(async move {
                let (words, moment) = (format!("words {number}"), practice.moment());
                knock::leave_words(practice.desk(), Held::Token(&token), &words, None, &moment).await
            })
        });
        for left in futures::future::join_all(leaving).await {
            assert!(left.unwrap().unwrap().is_some());
        }
        let mut books = practice.books().await;
        let [kept] = &late_knocks::waiting(&mut books, practice.id).await.unwrap()[..] else {
            panic!("one knock waits for somebody")
        };
        let words: BTreeSet<&str> = kept.words.lines().collect();
        let all: Vec<String> = (0..10).map(|number| format!("words {number}")).collect();
        assert_eq!(words, all.iter().map(String::as_str).collect());
        assert_eq!(kept.knocks, 10);
    })
    .await;
}
