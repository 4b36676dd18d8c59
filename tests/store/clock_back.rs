//! A clock that goes back three hours keeps nobody in for longer, and puts nobody out sooner: the sessions of staff, of phones and
//! of onlookers end when they would have, and so does what two people agree on (safety promise D6).

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::care::CareError;
use closewatch::care::clock;
use closewatch::care::export::agreement;
use closewatch::care::knock;
use closewatch::care::knock::PinTry;
use closewatch::store::export_agreements;

use crate::support::Page;
use crate::support::Phone;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::from_our_page;
use crate::support::on_each_engine;
use crate::support::opens_envelope;
use crate::support::send;

const BACK: SignedDuration = SignedDuration::from_hours(3);

/// The clock jumps, and the program notices, as it does within seconds.
async fn goes_back(practice: &Practice) {
    practice.app.clock.pass(-BACK);
    clock::set_back(practice.desk(), BACK, &practice.moment()).await.unwrap();
}

async fn opens(practice: &Practice, cookie: &str, path: &str) -> Page {
    send(&practice.router, from_our_page(Method::GET, path, cookie).body(Body::empty()).unwrap()).await
}

async fn is_in(staff: &Staff) -> bool {
    opens(&staff.practice, &staff.cookie, "/alarms").await.status.is_success()
}

async fn reads(phone: &Phone) -> bool {
    let practice = &phone.patient.practice;
    let holder = knock::holder(practice.desk(), &phone.token, practice.now()).await.unwrap();
    holder.is_some_and(|holder| holder.may_read)
}

#[tokio::test]
async fn an_idle_session_ends_a_quarter_hour_after_its_last_page_and_a_busy_one_after_twelve_hours() {
    on_each_engine(async |practice| {
        let idle = practice.office().await;
        let busy = practice.surgeon().await;
        practice.minutes_pass(10);
        goes_back(&practice).await;
        assert!(is_in(&busy).await, "nobody is put out");
        practice.minutes_pass(4);
        assert!(is_in(&busy).await);
        // 14 minutes and 59 seconds without a page, and then 15 minutes.
        practice.seconds_pass(59);
        assert!(still_runs(&practice, &idle).await);
        practice.seconds_pass(1);
        assert!(!is_in(&idle).await, "15 minutes by any clock that nobody sets");
        assert!(is_in(&busy).await);
        // 15 of 720 minutes have passed since the busy one began.
        for _ in 0..50 {
            practice.minutes_pass(14);
            assert!(is_in(&busy).await);
        }
        practice.minutes_pass(4);
        assert!(is_in(&busy).await);
        practice.minutes_pass(1);
        assert!(!is_in(&busy).await, "12 hours after it began");
    })
    .await;
}

/// Whether the session still runs, without a page that would keep it alive.
async fn still_runs(practice: &Practice, staff: &Staff) -> bool {
    let token = staff.cookie.split_once('=').unwrap().1;
    closewatch::care::sign_in::still_in(practice.desk(), token, practice.now()).await.unwrap()
}

#[tokio::test]
async fn what_is_sensitive_asks_again_as_soon_as_it_would_have() {
    on_each_engine(async |practice| {
        let lead = practice.lead().await;
        practice.minutes_pass(3);
        goes_back(&practice).await;
        practice.minutes_pass(1);
        lead.presses("/practice/envelope", &[]).await.is_fine();
        practice.minutes_pass(1);
        assert_eq!(lead.presses("/practice/envelope", &[]).await.status, StatusCode::FORBIDDEN);
    })
    .await;
}

#[tokio::test]
async fn a_phone_reads_for_a_week_and_is_in_for_thirty_days_and_a_look_runs_for_an_hour() {
    on_each_engine(async |practice| {
        let (lead, office, surgeon) =
            (practice.lead().await, practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        assert_eq!(phone.types_pin().await, PinTry::Right);
        let look = opens_envelope(&practice, &lead, "Kim Vale").await;
        practice.minutes_pass(10);
        goes_back(&practice).await;
        practice.minutes_pass(49);
        opens(&practice, &look, "/look/queue").await.is_fine().must_say("Kim Vale");
        practice.minutes_pass(1);
        assert_eq!(opens(&practice, &look, "/look/queue").await.leads_to(), "/envelope");
        // An hour has passed.
        practice.minutes_pass(7 * 24 * 60 - 60 - 1);
        assert!(reads(&phone).await);
        practice.minutes_pass(1);
        assert!(!reads(&phone).await, "a week after the PIN");
        practice.minutes_pass((30 - 7) * 24 * 60 - 1);
        phone.opens("/my").await.is_fine();
        practice.minutes_pass(1);
        assert_eq!(phone.opens("/my").await.status, StatusCode::UNAUTHORIZED, "after thirty days");
    })
    .await;
}

#[tokio::test]
async fn what_was_asked_for_can_be_taken_out_for_a_day_and_no_longer() {
    on_each_engine(async |practice| {
        let (lead, surgeon) = (practice.lead().await, practice.surgeon().await);
        let (desk, moment) = (practice.desk(), practice.moment());
        let id = agreement::ask(desk, &lead.member, &moment).await.unwrap();
        let is_open = async || {
            let found = export_agreements::find(&mut *practice.books().await, practice.id, id).await.unwrap();
            found.unwrap().is_open(practice.now())
        };
        practice.minutes_pass(10);
        goes_back(&practice).await;
        practice.minutes_pass(24 * 60 - 11);
        assert!(is_open().await);
        practice.minutes_pass(1);
        assert!(!is_open().await, "a day by any clock that nobody sets");
        let late = agreement::agree(desk, &surgeon.member, id, &practice.moment()).await;
        assert!(matches!(late, Err(CareError::AlreadyDone)));
    })
    .await;
}

#[tokio::test]
async fn a_wait_after_wrong_pins_is_no_longer_for_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        for _ in 0..5 {
            knock::try_pin(practice.desk(), &phone.token, "000000", &practice.moment()).await.unwrap();
        }
        assert!(matches!(phone.types_pin().await, PinTry::Wait { .. }));
        practice.seconds_pass(10);
        goes_back(&practice).await;
        practice.seconds_pass(19);
        assert!(matches!(phone.types_pin().await, PinTry::Wait { .. }));
        practice.seconds_pass(1);
        assert_eq!(phone.types_pin().await, PinTry::Right);
    })
    .await;
}
