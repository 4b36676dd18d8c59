//! Photos are measured after their check is safe: nobody waits for it, nothing that goes wrong in it touches the check,
//! and what it finds can only raise.

use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;

use jiff::SignedDuration;

use closewatch::care::CareError;
use closewatch::care::intake;
use closewatch::care::intake::Sending;
use closewatch::care::measuring;
use closewatch::care::measuring::Method;
use closewatch::care::measuring::Outcome;
use closewatch::care::measuring::Queued;
use closewatch::care::measuring::Said;
use closewatch::care::review;
use closewatch::ids::MeasurementId;
use closewatch::ids::PhotoId;
use closewatch::ids::WoundCheckId;
use closewatch::jobs;
use closewatch::jobs::measuring::Tally;
use closewatch::photo::MmPoint;
use closewatch::plan::RiskFactors;
use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::checks::CheckState;
use closewatch::store::checks::WoundCheck;
use closewatch::store::measurements;
use closewatch::store::measurements::Author;
use closewatch::store::measurements::KeptMeasurement;
use closewatch::store::measuring_jobs;
use closewatch::store::measuring_jobs::Why;
use closewatch::store::photos;
use closewatch::store::practices;
use closewatch::triage::Decision;
use closewatch::triage::Urgency;
use closewatch::triage::Value;
use closewatch::words::Language;
use closewatch::wound::Because;
use closewatch::wound::Family;
use closewatch::wound::Figure;
use closewatch::wound::HandDrawn;
use closewatch::wound::METHOD;
use closewatch::wound::Measurement;
use closewatch::wound::Outline;
use closewatch::wound::Probed;
use closewatch::wound::Size;
use closewatch::wound::Standing;

use crate::support::*;

/// Measures every photo the same way.
fn sees(measurement: Measurement) -> Method {
    Method { measure: Arc::new(move |_, _| measurement.clone()), time_limit: measuring::TIME_LIMIT }
}

fn blurred() -> Measurement {
    Measurement::refused(vec![Because::Blurred])
}

/// An outline of ten by ten millimetres, as sure as said.
fn square(standing: Standing) -> Measurement {
    let ring = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]].map(MmPoint::from);
    let mm = |value: f64| Figure::new(value, value * 0.9, value * 1.1);
    Measurement {
        standing,
        because: Vec::new(),
        outline: Some(Outline::of_ring(ring.to_vec()).unwrap()),
        size: Some(Size {
            area_mm2: mm(100.0),
            perimeter_mm: mm(40.0),
            length_mm: mm(200.0_f64.sqrt()),
            width_mm: mm(200.0_f64.sqrt()),
        }),
        ..Measurement::refused(Vec::new())
    }
}

async fn measures(practice: &Practice, method: &Method) -> Tally {
    jobs::measuring::until_idle(practice.desk(), method, &|| practice.moment(), 2).await.unwrap()
}

async fn the_check(practice: &Practice, id: WoundCheckId) -> WoundCheck {
    checks::find(&mut *practice.books().await, practice.id, id).await.unwrap().unwrap()
}

async fn the_photo(practice: &Practice, check: WoundCheckId) -> PhotoId {
    photos::of_check(&mut *practice.books().await, practice.id, check).await.unwrap()[0].id
}

async fn kept(practice: &Practice, photo: PhotoId) -> Vec<KeptMeasurement> {
    measuring::of_photo(&mut *practice.books().await, practice.id, photo).await.unwrap()
}

async fn said(phone: &Phone, check: WoundCheckId) -> Vec<Said> {
    let practice = &phone.patient.practice;
    let says = measuring::for_patient(practice.desk(), &phone.holder().await, check).await.unwrap();
    says.into_iter().map(|one| one.said).collect()
}

async fn a_phone(practice: &Practice) -> (Staff, Phone) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    (surgeon, phone)
}

fn fired(check: &WoundCheck, rule: &str) -> bool {
    check.assessment.reasons.iter().any(|reason| reason.rule_id == rule)
}

#[tokio::test]
async fn a_photo_is_measured_after_the_receipt_and_what_it_shows_reaches_the_queue_and_the_patient() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[photo(1)]).await;
        assert_eq!(said(&phone, receipt.check).await, [Said::NotYet]);
        let before = the_check(&practice, receipt.check).await;
        assert!(!fired(&before, "photo-unusable"), "nothing is held against a photo that nobody measured");
        let mut news = practice.desk().listen();
        assert_eq!(measures(&practice, &sees(blurred())).await, Tally { refused: 1, ..Tally::default() });
        assert_eq!(news.try_recv().unwrap().practice, practice.id, "the open queues are told");
        let because = vec![Because::Blurred];
        assert_eq!(
            said(&phone, receipt.check).await,
            [Said::Measured { standing: Standing::Refused, because }]
        );
        let after = the_check(&practice, receipt.check).await;
        assert!(fired(&after, "photo-unusable"));
        assert!(after.assessment.urgency >= before.assessment.urgency);
        let row = &surgeon.reads_queue().await[0];
        assert!(row.assessment.reasons.iter().any(|reason| reason.rule_id == "photo-unusable"));
        let done = actions(&practice).await;
        assert_eq!(done[..2], ["check.reassess", "photo.measure"]);
        assert_eq!(audit::first_break(&mut *practice.books().await, practice.id).await.unwrap(), None);
    })
    .await;
}

/// Without a scale nobody can tell whether the wound closes: the rule says to ask again, and the patient reads what to do.
#[tokio::test]
async fn a_photo_without_a_card_is_asked_for_again_and_the_patient_is_told_why() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[photo(1)]).await;
        let before = the_check(&practice, receipt.check).await;
        assert!(!fired(&before, "photo-unusable"));
        measures(&practice, &sees(Measurement::refused(vec![Because::CardNotSeen]))).await;
        let after = the_check(&practice, receipt.check).await;
        assert!(fired(&after, "photo-unusable") && after.assessment.urgency >= before.assessment.urgency);
        let because = vec![Because::CardNotSeen];
        assert_eq!(
            said(&phone, receipt.check).await,
            [Said::Measured { standing: Standing::Refused, because }]
        );
    })
    .await;
}

#[tokio::test]
async fn a_measuring_that_falls_over_touches_nothing_but_its_own_row() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let receipt = phone.sends("form", in_danger(), &[photo(1)]).await;
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        let falls = Method { measure: Arc::new(|_, _| panic!("on purpose")), ..Method::default() };
        assert_eq!(measures(&practice, &falls).await, Tally { gave_up: 1, ..Tally::default() });
        let after = rows_of(&mut *practice.books().await, practice.id).await;
        for table in ["wound_check", "assessment", "photo", "answers_version", "notice"] {
            assert_eq!(after[table], before[table], "{table}");
        }
        let kept = kept(&practice, the_photo(&practice, receipt.check).await).await;
        assert_eq!(kept[0].measurement.because, [Because::Failed]);
        assert_eq!(measures(&practice, &falls).await, Tally::default(), "it is not tried for ever");
    })
    .await;
}

#[tokio::test]
async fn one_that_takes_too_long_is_tried_again_and_then_left_and_holds_up_no_receipt() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let receipt = phone.sends("form", no_danger(), &[photo(1)]).await;
        let before = the_check(&practice, receipt.check).await;
        let slow = Method {
            measure: Arc::new(|_, _| {
                std::thread::sleep(Duration::from_millis(400));
                blurred()
            }),
            time_limit: Duration::from_millis(150),
        };
        let put_off = Tally { put_off: 1, ..Tally::default() };
        assert_eq!(measures(&practice, &slow).await, put_off);
        assert_eq!(measures(&practice, &slow).await, Tally::default(), "not at once");
        practice.minutes_pass(3);
        assert_eq!(measures(&practice, &slow).await, put_off);
        // Its threads still run; a photo that comes in does not wait for them.
        let other = phone.sends("other", no_danger(), &[photo(2)]).await;
        assert_eq!(other.photos_here, 1);
        practice.minutes_pass(3);
        tokio::time::sleep(Duration::from_millis(500)).await;
        let tally = measures(&practice, &slow).await;
        assert_eq!((tally.gave_up, tally.put_off), (1, 1));
        let kept = kept(&practice, the_photo(&practice, receipt.check).await).await;
        assert_eq!(kept[0].measurement.because, [Because::TookTooLong]);
        let after = the_check(&practice, receipt.check).await;
        assert_eq!((after.assessment, after.due), (before.assessment, before.due));
    })
    .await;
}

#[tokio::test]
async fn a_photo_whose_worker_is_gone_is_taken_up_after_its_lease_and_not_for_ever() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
        let picture = the_photo(&practice, check).await;
        for tries in 1..=3 {
            let mut tx = practice.desk().db.write().await.unwrap();
            let until = practice.now() + SignedDuration::from_mins(5);
            let job = measuring_jobs::claim(&mut tx, practice.now(), until).await.unwrap().unwrap();
            tx.commit().await.unwrap();
            assert_eq!((job.photo, job.tries), (picture, tries));
            // The program ends here, and starts again.
            let practice = practice.started_anew();
            assert_eq!(
                measures(&practice, &sees(blurred())).await,
                Tally::default(),
                "leased to who is gone"
            );
            practice.minutes_pass(6);
        }
        assert_eq!(measures(&practice, &sees(blurred())).await, Tally { gave_up: 1, ..Tally::default() });
        assert_eq!(kept(&practice, picture).await[0].measurement.because, [Because::Failed]);
    })
    .await;
}

#[tokio::test]
async fn many_lanes_measure_each_photo_once() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        for number in 1..=4 {
            phone.sends(&format!("form {number}"), no_danger(), &[photo(number), photo(number + 4)]).await;
        }
        let looked = Arc::new(AtomicUsize::new(0));
        let counting = Arc::clone(&looked);
        let method = Method {
            measure: Arc::new(move |_, _| {
                counting.fetch_add(1, Ordering::SeqCst);
                blurred()
            }),
            ..Method::default()
        };
        let tally = jobs::measuring::until_idle(practice.desk(), &method, &|| practice.moment(), 6).await;
        assert_eq!(tally.unwrap(), Tally { refused: 8, ..Tally::default() });
        assert_eq!(looked.load(Ordering::SeqCst), 8);
        assert_eq!(count(&mut *practice.books().await, "measurement").await, 8);
        assert_eq!(count(&mut *practice.books().await, "measuring_job").await, 0);
    })
    .await;
}

#[tokio::test]
async fn a_job_that_runs_twice_keeps_one_measurement_and_leaves_the_check_alone() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
        let picture = the_photo(&practice, check).await;
        measures(&practice, &sees(blurred())).await;
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        let mut tx = practice.desk().db.write().await.unwrap();
        assert!(
            measuring_jobs::enqueue(&mut tx, practice.id, picture, Why::Received, practice.now())
                .await
                .unwrap()
        );
        assert!(
            !measuring_jobs::enqueue(&mut tx, practice.id, picture, Why::Again, practice.now())
                .await
                .unwrap()
        );
        tx.commit().await.unwrap();
        let twice = measures(&practice, &sees(square(Standing::Ok))).await;
        assert_eq!(twice, Tally { not_wanted: 1, ..Tally::default() });
        assert_eq!(rows_of(&mut *practice.books().await, practice.id).await, before);
        let queued = measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(queued, Queued::Photos { new: 0, already: 0 });
    })
    .await;
}

async fn draws(practice: &Practice, surgeon: &Staff, earlier: &KeptMeasurement, measurement: Measurement) {
    let cards = practices::measuring(&mut *practice.books().await, practice.id).await.unwrap().unwrap().cards;
    let drawn = KeptMeasurement {
        id: MeasurementId::mint(&practice.moment()),
        author: Author::Staff(surgeon.member.id),
        made: practice.now(),
        measurement,
        ..earlier.clone()
    };
    let mut tx = practice.desk().db.write().await.unwrap();
    assert!(measurements::insert(&mut tx, &drawn, &cards).await.unwrap());
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn a_hand_made_measurement_stands_before_what_the_program_finds_later() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
        let picture = the_photo(&practice, check).await;
        measures(&practice, &sees(square(Standing::Ok))).await;
        let first = kept(&practice, picture).await.remove(0);
        practice.minutes_pass(1);
        let by_hand = Measurement { family: Family::ByHand, ..square(Standing::Ok) };
        draws(&practice, &surgeon, &first, by_hand).await;
        // The lead measures a printed card: another scale, so the past is measured anew.
        practice.minutes_pass(1);
        let lead = practice.lead().await;
        let typed = [("measuring", "on"), ("first_id", "0"), ("last_id", "0"), ("ruler_mm", "97.5")];
        lead.presses("/practice/measuring", &typed).await.is_fine();
        let queued = measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(queued, Queued::Photos { new: 1, already: 0 });
        let again = measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(again, Queued::Photos { new: 0, already: 1 });
        let tally = measures(&practice, &sees(square(Standing::Ok))).await;
        assert_eq!(tally, Tally { measured: 1, ..Tally::default() });
        let all = kept(&practice, picture).await;
        assert_eq!(all.len(), 3, "nothing is replaced");
        assert_eq!(all[2], first);
        assert!(all.iter().all(|one| one.measurement.method == METHOD));
        let wound = phone.patient.enrolled.wound.id;
        let stands = measuring::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap();
        assert_eq!(
            stands.iter().map(|one| one.author).collect::<Vec<_>>(),
            [Author::Staff(surgeon.member.id)]
        );
    })
    .await;
}

#[tokio::test]
async fn a_surgeon_confirms_what_the_program_was_not_sure_of_once() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
        let picture = the_photo(&practice, check).await;
        let unsure = Measurement { because: vec![Because::FaintEdge], ..square(Standing::LowConfidence) };
        let tally = measures(&practice, &sees(unsure.clone())).await;
        assert_eq!(tally, Tally { low_confidence: 1, ..Tally::default() });
        let found = kept(&practice, picture).await.remove(0).measurement;
        assert!(found.counted_size().is_none());
        let (desk, office) = (practice.desk(), practice.office().await);
        let refused = measuring::confirm(desk, &office.member, picture, &practice.moment()).await;
        assert!(matches!(refused, Err(CareError::NotAllowed)));
        let confirmed = measuring::confirm(desk, &surgeon.member, picture, &practice.moment()).await.unwrap();
        assert_eq!(confirmed.author, Author::Staff(surgeon.member.id));
        assert_eq!(confirmed.measurement.outline, unsure.outline);
        assert_eq!(confirmed.measurement.counted_size(), found.size.as_ref());
        let twice = measuring::confirm(desk, &surgeon.member, picture, &practice.moment()).await.unwrap();
        assert_eq!(twice.id, confirmed.id);
        assert_eq!(kept(&practice, picture).await.len(), 2);
        let done = actions(&practice).await;
        assert_eq!(done.iter().filter(|action| *action == "measurement.confirm").count(), 1);
    })
    .await;
}

#[tokio::test]
async fn nothing_waits_to_be_confirmed_where_the_program_was_sure_or_found_nothing() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        for (number, found) in [(1, square(Standing::Ok)), (2, blurred())] {
            let check = phone.sends(&format!("form {number}"), no_danger(), &[photo(number)]).await.check;
            let picture = the_photo(&practice, check).await;
            measures(&practice, &sees(found)).await;
            let refused =
                measuring::confirm(practice.desk(), &surgeon.member, picture, &practice.moment()).await;
            assert!(matches!(refused, Err(CareError::Entered(_))));
        }
    })
    .await;
}

#[tokio::test]
async fn a_lead_switches_measuring_off_and_on_and_what_was_typed_wrongly_is_kept_on_the_page() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let lead = practice.lead().await;
        let waiting = phone.sends("before", no_danger(), &[photo(1)]).await.check;
        lead.opens("/practice").await.must_say("Measuring photos").must_say("What the check ruler measures");
        let off = [("measuring", "off"), ("first_id", "0"), ("last_id", "3"), ("ruler_mm", "98,5")];
        lead.presses("/practice/measuring", &off).await.is_fine();
        let page = lead.opens("/practice").await;
        assert_eq!(page.field("ruler_mm").as_deref(), Some("98.5"));
        assert_eq!(page.field("last_id").as_deref(), Some("3"));
        assert_eq!(actions(&practice).await[0], "measuring.set");
        // What waited is not measured any more, and what comes is not queued.
        let check = phone.sends("after", no_danger(), &[photo(2)]).await.check;
        assert_eq!(measures(&practice, &sees(blurred())).await, Tally { not_wanted: 1, ..Tally::default() });
        assert_eq!(count(&mut *practice.books().await, "measurement").await, 0);
        for check in [waiting, check] {
            assert_eq!(said(&phone, check).await, [Said::SwitchedOff]);
        }
        let past = measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(past, Queued::SwitchedOff);
        // Wrong: told beside the field, and nothing is lost or changed.
        let wrong = [("measuring", "on"), ("first_id", "7"), ("last_id", "3"), ("ruler_mm", "10")];
        let page = lead.presses("/practice/measuring", &wrong).await;
        assert_eq!(page.status, axum::http::StatusCode::UNPROCESSABLE_ENTITY);
        page.must_say("That looks like centimetres").must_say("cannot be smaller than the first");
        assert_eq!(page.field("ruler_mm").as_deref(), Some("10"));
        assert_eq!(said(&phone, check).await, [Said::SwitchedOff]);
        let on = [("measuring", "on"), ("first_id", "0"), ("last_id", "3"), ("ruler_mm", "100")];
        lead.presses("/practice/measuring", &on).await.is_fine();
        let past = measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(past, Queued::Photos { new: 2, already: 0 });
    })
    .await;
}

#[tokio::test]
async fn a_measurement_raises_and_never_lowers() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let grave = phone.sends("grave", in_danger(), &[photo(1)]).await;
        assert_eq!(grave.urgency, Urgency::GoNow);
        measures(&practice, &sees(square(Standing::Ok))).await;
        let after = the_check(&practice, grave.check).await;
        assert_eq!((after.assessment.urgency, after.due), (Urgency::GoNow, grave.due));
        // A spoilt photo and then, by another card, a good one: the class stays where the first put it.
        let quiet = phone.sends("quiet", no_danger(), &[photo(2)]).await;
        measures(&practice, &sees(blurred())).await;
        let raised = the_check(&practice, quiet.check).await;
        assert!(raised.assessment.urgency >= quiet.urgency.max(Urgency::Tomorrow));
        let lead = practice.lead().await;
        let typed = [("measuring", "on"), ("first_id", "0"), ("last_id", "5"), ("ruler_mm", "100")];
        lead.presses("/practice/measuring", &typed).await.is_fine();
        measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        assert_eq!(measures(&practice, &sees(square(Standing::Ok))).await.measured, 2);
        let after = the_check(&practice, quiet.check).await;
        assert_eq!(after.assessment.urgency, raised.assessment.urgency);
        assert!(after.due <= raised.due && after.assessment.score >= raised.assessment.score);
    })
    .await;
}

/// The check that a surgeon decided before its photo was measured.
async fn decided_early(practice: &Practice) -> (Staff, WoundCheckId) {
    let (surgeon, phone) = a_phone(practice).await;
    let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
    surgeon.decides(check, Decision::HealingAsExpected, ANSWER).await.unwrap();
    assert_eq!(the_check(practice, check).await.state, CheckState::Closed);
    (surgeon, check)
}

#[tokio::test]
async fn a_late_measurement_brings_a_decided_check_back_only_when_it_became_graver() {
    on_each_engine(async |practice| {
        let (_, check) = decided_early(&practice).await;
        let before = the_check(&practice, check).await;
        measures(&practice, &sees(blurred())).await;
        let after = the_check(&practice, check).await;
        let rose = after.assessment.urgency > before.assessment.urgency;
        assert_eq!(after.state == CheckState::Queued, rose);
        assert!(fired(&after, "photo-unusable"));
    })
    .await;
}

#[tokio::test]
async fn measuring_the_past_again_opens_no_check_that_was_dealt_with() {
    on_each_engine(async |practice| {
        let (surgeon, check) = decided_early(&practice).await;
        measures(&practice, &sees(square(Standing::Ok))).await;
        let lead = practice.lead().await;
        let typed = [("measuring", "on"), ("first_id", "0"), ("last_id", "5"), ("ruler_mm", "100")];
        lead.presses("/practice/measuring", &typed).await.is_fine();
        measuring::queue_past(practice.desk(), practice.id, &practice.moment()).await.unwrap();
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        assert_eq!(measures(&practice, &sees(blurred())).await.refused, 1);
        let after = rows_of(&mut *practice.books().await, practice.id).await;
        assert_eq!(after["wound_check"], before["wound_check"]);
        assert_eq!(after["assessment"], before["assessment"]);
        let opened = review::view(practice.desk(), &surgeon.member, check, practice.now()).await.unwrap();
        assert_eq!(opened.check.state, CheckState::Closed);
    })
    .await;
}

#[tokio::test]
async fn what_is_no_picture_is_not_queued() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[b"no picture".to_vec(), photo(1)]).await.check;
        assert_eq!(said(&phone, check).await, [Said::NoPicture, Said::NotYet]);
        let outcome =
            measuring::next(practice.desk(), &sees(blurred()), &practice.moment()).await.unwrap().unwrap();
        assert_eq!(outcome, Outcome::Measured(Standing::Refused));
        assert!(
            measuring::next(practice.desk(), &sees(blurred()), &practice.moment()).await.unwrap().is_none()
        );
    })
    .await;
}

/// The method is asked with the place that was tapped, in px of the rendition it measures, and the practice's cards.
#[tokio::test]
async fn the_method_is_told_the_tap_the_cards_and_the_lens() {
    on_each_engine(async |practice| {
        let (_, phone) = a_phone(&practice).await;
        let (desk, holder) = (practice.desk(), phone.holder().await);
        let tap = photos::Tap { x_per_10_000: 2_500, y_per_10_000: 7_500 };
        let prepared = intake::prepare_photo(desk, photo(1), 1, Some(tap)).await.unwrap();
        let sending = Sending { form_key: "form".to_owned(), answers: no_danger(), photos_expected: 1 };
        intake::receive(desk, &holder, sending, vec![prepared], &practice.moment()).await.unwrap();
        let told = Arc::new(std::sync::Mutex::new(None));
        let tells = Arc::clone(&told);
        let method = Method {
            measure: Arc::new(move |picture, asked| {
                *tells.lock().unwrap() = Some((picture.width(), picture.height(), asked.clone()));
                blurred()
            }),
            ..Method::default()
        };
        measures(&practice, &method).await;
        let (width, height, asked) = told.lock().unwrap().clone().unwrap();
        assert_eq!((width, height), (1_600, 1_200));
        let tap = asked.tap.unwrap();
        assert_eq!((tap.x_px, tap.y_px), (0.25 * width as f64, 0.75 * height as f64));
        assert_eq!((asked.issue.ids, asked.issue.tag_edge_mm), (0..=0, 20.0));
        assert_eq!(asked.focal_35mm, None);
    })
    .await;
}

/// A painted photo of the seed data, tapped as its painter says.
fn painted(name: &str) -> (Vec<u8>, photos::Tap) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data");
    let book: serde_json::Value =
        serde_json::from_slice(&std::fs::read(folder.join("practice.json")).unwrap()).unwrap();
    let place = |axis: usize| book["taps"][name][axis].as_i64().unwrap();
    let tap = photos::Tap { x_per_10_000: place(0), y_per_10_000: place(1) };
    (std::fs::read(folder.join("photos").join(name)).unwrap(), tap)
}

async fn sends_painted(phone: &Phone, name: &str) -> PhotoId {
    let practice = &phone.patient.practice;
    let (desk, holder) = (practice.desk(), phone.holder().await);
    let (bytes, tap) = painted(name);
    let prepared = intake::prepare_photo(desk, bytes, 1, Some(tap)).await.unwrap();
    let sending = Sending { form_key: name.to_owned(), answers: no_danger(), photos_expected: 1 };
    let receipt = intake::receive(desk, &holder, sending, vec![prepared], &practice.moment()).await.unwrap();
    the_photo(practice, receipt.check).await
}

/// In earnest: the program's own method, then a surgeon's hand over it.
#[tokio::test]
async fn a_surgeon_draws_on_a_measured_photo_and_is_told_where_nothing_can_be_drawn() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        let picture = sends_painted(&phone, "b-day05.jpg").await;
        let no_card = sends_painted(&phone, "f-day05-no-card.jpg").await;
        let tally = measures(&practice, &Method::default()).await;
        assert_eq!((tally.measured, tally.refused), (1, 1));
        let found = kept(&practice, picture).await.remove(0).measurement;
        let (desk, moment) = (practice.desk(), practice.moment());
        assert_eq!(measuring::card_of(desk, &surgeon.member, picture).await.unwrap(), found.card);
        assert_eq!(measuring::card_of(desk, &surgeon.member, no_card).await.unwrap(), None);
        let drawn = || HandDrawn {
            wound: found.outline.clone().unwrap(),
            redness_edge: None,
            probed: Probed { depth_mm: Some(12.0), undermining_mm: None },
        };
        let first = measuring::by_hand(desk, &surgeon.member, picture, drawn(), &moment).await.unwrap();
        assert_eq!(
            (first.author, first.measurement.family),
            (Author::Staff(surgeon.member.id), Family::ByHand)
        );
        assert_eq!(first.measurement.probed.depth_mm, Some(12.0));
        let (by_hand, by_program) = (first.measurement.size.unwrap(), found.size.unwrap());
        let off = by_hand.area_mm2.value / by_program.area_mm2.value - 1.0;
        assert!(off.abs() < 0.001, "the same outline has the same area: {off}");
        practice.minutes_pass(1);
        let moment = practice.moment();
        let twice = measuring::by_hand(desk, &surgeon.member, picture, drawn(), &moment).await.unwrap();
        assert_eq!(twice.id, first.id, "a doubled press draws once");
        let refused = measuring::by_hand(desk, &surgeon.member, no_card, drawn(), &moment).await;
        assert!(matches!(refused, Err(CareError::Entered(_))), "{refused:?}");
        let done = actions(&practice).await;
        assert_eq!(done.iter().filter(|action| *action == "measurement.draw").count(), 1);
    })
    .await;
}

/// The patient ticks nothing and says nothing of the redness: the photos alone bring the check up.
#[tokio::test]
async fn redness_that_spreads_from_photo_to_photo_brings_a_check_to_the_top_by_itself() {
    on_each_engine(async |practice| {
        let (surgeon, phone) = a_phone(&practice).await;
        let (mut reached_cm, mut quiet) = (0.0, None);
        let other = practice
            .phone_of("Ana Ortiz", Language::English, RiskFactors::default(), operation(practice.now()))
            .await;
        for name in ["b-day03.jpg", "b-day04.jpg", "b-day05.jpg"] {
            practice.minutes_pass(24 * 60);
            if name == "b-day05.jpg" {
                quiet = Some(other.sends("quiet", no_danger(), &[]).await);
            }
            sends_painted(&phone, name).await;
            assert_eq!(measures(&practice, &Method::default()).await.measured, 1, "{name}");
            let measured = the_newest(&practice, &phone).await.facts.unwrap().measured;
            let Some(Value::Number { low, .. }) = measured.value("red_cm") else {
                panic!("{name}: {measured:?}")
            };
            assert!(low > reached_cm, "{name}: {low} cm after {reached_cm} cm");
            reached_cm = low;
            if name != "b-day05.jpg" {
                let check = the_newest(&practice, &phone).await.id;
                surgeon.decides(check, Decision::HealingAsExpected, ANSWER).await.unwrap();
            }
        }
        let last = the_newest(&practice, &phone).await;
        let facts = last.facts.unwrap();
        assert_eq!(facts.measured.value("red_trend"), Some(Value::Word("bigger")));
        let protocol = &practice.desk().program_protocol;
        let alone = closewatch::triage::verdict(protocol, &facts.answered).urgency;
        assert!(last.assessment.urgency > alone, "{:?} by the answers alone", alone);
        // It stands above one with the same answers that came before it.
        let queue: Vec<_> = surgeon.reads_queue().await.into_iter().map(|row| row.id).collect();
        assert_eq!(queue, [last.id, quiet.unwrap().check]);
    })
    .await;
}

async fn the_newest(practice: &Practice, phone: &Phone) -> WoundCheck {
    let wound = phone.patient.enrolled.wound.id;
    checks::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap().remove(0)
}

/// Runs the real program's `measure --again` on the books of a place.
fn measure_again(place: &Place, more: &[&str]) -> (Option<i32>, String, String) {
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["measure", "--again", "--data"])
        .arg(place.folder.path())
        .args(["--database-url", &place.url])
        .args(more)
        .output()
        .unwrap();
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), said(&out.stdout), said(&out.stderr))
}

#[tokio::test]
async fn the_past_is_measured_from_the_command_line_once() {
    in_each_place(async |place| {
        let practice = Practice::open_by(place, closewatch::web::Clock::Machine).await;
        let (_, phone) = a_phone(&practice).await;
        let check = phone.sends("form", no_danger(), &[photo(1)]).await.check;
        let picture = the_photo(&practice, check).await;
        // As one kept before photos were measured.
        let mut tx = practice.desk().db.write().await.unwrap();
        measuring_jobs::remove(&mut tx, practice.id, picture).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(said(&phone, check).await, [Said::NotAsked]);
        let (code, _, fault) = measure_again(place, &["--practice", "Hill Surgery"]);
        assert_eq!(code, Some(2));
        assert!(fault.contains("there is no practice named Hill Surgery"), "{fault}");
        let (code, printed, fault) = measure_again(place, &["--practice", "Harbor Surgery"]);
        assert_eq!(code, Some(0), "{fault}");
        assert!(
            printed.contains(&format!("Harbor Surgery: photos to measure by method {METHOD}: 1")),
            "{printed}"
        );
        // A chequered picture shows no card.
        assert!(printed.contains("1 that cannot be measured"), "{printed}");
        assert_eq!(kept(&practice, picture).await.len(), 1);
        let (code, printed, _) = measure_again(place, &[]);
        assert_eq!(code, Some(0));
        assert!(
            printed.contains(&format!("Harbor Surgery: photos to measure by method {METHOD}: 0")),
            "{printed}"
        );
        assert_eq!(kept(&practice, picture).await.len(), 1);
        practice.desk().db.close().await;
    })
    .await;
}
