//! The loop on bad days, on both engines: clocks that change in the night, somebody removed while on duty, two who answer at
//! once, runners killed at any answer they wait for.

#[path = "support/mod.rs"]
mod support;

use std::fs;
use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Weekday;

use closewatch::care::CareError;
use closewatch::care::duty;
use closewatch::care::ladder;
use closewatch::duty::Rank;
use closewatch::duty::WeeklyShift;
use closewatch::ids::WoundCheckId;
use closewatch::jobs::runner;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::deliveries;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::ladders;
use closewatch::store::ladders::FiredRung;
use closewatch::store::ladders::Ladder;
use closewatch::store::ladders::LadderState;
use closewatch::store::notices;
use closewatch::store::notices::Recipient;
use closewatch::store::staff;
use closewatch::store::staff::Activity;
use closewatch::triage::Told;

use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::on_each_engine;
use crate::support::until_killed;

async fn on_duty_daily(practice: &Practice, lead: &Staff, who: &Staff, from_minute: i64, until_minute: i64) {
    let daily = |day| WeeklyShift {
        weekday: Weekday::from_monday_one_offset(day).unwrap(),
        from_minute,
        until_minute,
        staff: who.member.id,
        rank: Rank::First,
    };
    let shifts: Vec<WeeklyShift> = (1..=7).map(daily).collect();
    duty::add_weekly(practice.desk(), &lead.member, &shifts, &practice.moment()).await.unwrap();
}

fn time_becomes(practice: &Practice, at: &str) {
    let at: Timestamp = at.parse().unwrap();
    practice.seconds_pass(at.duration_since(practice.now()).as_secs());
}

async fn ladder_of(practice: &Practice, check: WoundCheckId) -> Ladder {
    let about = format!("check:{check}");
    ladders::about(&mut *practice.books().await, practice.id, &about).await.unwrap().remove(0)
}

async fn rungs_of(practice: &Practice, ladder: &Ladder) -> Vec<FiredRung> {
    ladders::rungs(&mut *practice.books().await, practice.id, ladder.id).await.unwrap()
}

async fn told_by(practice: &Practice, ladder: &Ladder, rung: usize) -> Vec<Recipient> {
    let about = format!("ladder:{} rung:{rung}", ladder.id);
    let told = notices::about(&mut *practice.books().await, practice.id, &about).await.unwrap();
    told.into_iter().map(|notice| notice.recipient).collect()
}

#[tokio::test]
async fn in_the_night_in_which_the_clocks_change_whoever_is_on_duty_by_the_new_clock_is_told() {
    on_each_engine(async |practice| {
        let (office, lead) = (practice.office().await, practice.lead().await);
        let (day, night) = (practice.surgeon().await, practice.surgeon().await);
        on_duty_daily(&practice, &lead, &day, 8 * 60, 20 * 60).await;
        on_duty_daily(&practice, &lead, &night, 20 * 60, 8 * 60).await;
        // New York left summer time on 1 November 2026 and returns to it on 14 March 2027 (IANA time zone database): eight
        // in the morning is 13:00 and 12:00 of universal time.
        let cases = [
            ("2026-10-31T12:01:00Z", &day),
            ("2026-11-01T05:59:00Z", &night),
            ("2026-11-01T06:59:00Z", &night),
            ("2026-11-01T12:59:00Z", &night),
            ("2026-11-01T13:01:00Z", &day),
            ("2027-03-14T06:59:00Z", &night),
            ("2027-03-14T11:59:00Z", &night),
            ("2027-03-14T12:01:00Z", &day),
        ];
        for (at, expected) in cases {
            time_becomes(&practice, at);
            let patient = office.enrols(&format!("Patient of {at}"), &day).await;
            let check = patient.opens_link().await.sends("form", in_danger(), &[]).await.check;
            practice.works().await;
            let ladder = ladder_of(&practice, check).await;
            assert_eq!(told_by(&practice, &ladder, 0).await, [Recipient::Staff(expected.member.id)], "{at}");
        }
    })
    .await;
}

#[tokio::test]
async fn an_hour_that_comes_twice_lengthens_no_ladder() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        // Ten minutes before the clocks of New York go from two back to one.
        time_becomes(&practice, "2026-11-01T05:50:00Z");
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        let sent = practice.now();
        practice.minutes_of_work_pass(31).await;
        let rungs = rungs_of(&practice, &ladder_of(&practice, check).await).await;
        let minutes: Vec<i64> = rungs.iter().map(|rung| rung.fired.duration_since(sent).as_mins()).collect();
        assert_eq!(minutes, [0, 5, 10, 20, 30, 30]);
    })
    .await;
}

#[tokio::test]
async fn somebody_removed_while_on_duty_is_told_nothing_more_and_the_next_one_at_once() {
    on_each_engine(async |practice| {
        let (office, lead) = (practice.office().await, practice.lead().await);
        let (gone, other) = (practice.surgeon().await, practice.surgeon().await);
        on_duty_daily(&practice, &lead, &gone, 0, 1_440).await;
        let phone = office.enrols("Mia Stone", &other).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        practice.works().await;
        let mut tx = practice.desk().db.write().await.unwrap();
        staff::set_active(&mut tx, practice.id, gone.member.id, Activity::Gone).await.unwrap();
        tx.commit().await.unwrap();
        practice.minutes_of_work_pass(5).await;
        let ladder = ladder_of(&practice, check).await;
        let told: Vec<(Told, i64)> =
            rungs_of(&practice, &ladder).await.iter().map(|rung| (rung.told, rung.reached)).collect();
        assert_eq!(told, [(Told::OnDuty, 1), (Told::OnDutyEverywhere, 0), (Told::Second, 1)]);
        assert_eq!(told_by(&practice, &ladder, 0).await, [Recipient::Staff(gone.member.id)]);
        assert_eq!(told_by(&practice, &ladder, 2).await, [Recipient::Staff(other.member.id)]);
        let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
        assert!(open.iter().any(|alarm| alarm.kind == AlarmKind::NobodyToTell));
    })
    .await;
}

#[tokio::test]
async fn of_two_who_say_at_once_that_they_see_to_it_one_does_and_the_other_is_told() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        practice.works().await;
        let id = ladder_of(&practice, check).await.id;
        let says =
            async |who: &Staff| ladder::acknowledge(practice.desk(), &who.member, id, practice.now()).await;
        let (one, other) = tokio::join!(says(&office), says(&surgeon));
        let by = match (&one, &other) {
            (Ok(()), Err(CareError::AlreadyDone)) => office.member.id,
            (Err(CareError::AlreadyDone), Ok(())) => surgeon.member.id,
            both => panic!("{both:?}"),
        };
        let ladder = ladder_of(&practice, check).await;
        assert_eq!((ladder.state, ladder.stopped_by), (LadderState::Stopped, Some(by)));
    })
    .await;
}

/// Every rung in order and once, told to as many as it says; every letter that is noted lies in the folder.
async fn nothing_lost_or_doubled(practice: &Practice, check: WoundCheckId) {
    let ladder = ladder_of(practice, check).await;
    let rungs = rungs_of(practice, &ladder).await;
    for (number, rung) in rungs.iter().enumerate() {
        assert_eq!(rung.number, number as i64);
        let told = told_by(practice, &ladder, number).await;
        assert_eq!(told.len() as i64, rung.reached, "{rung:?}");
    }
    let told: Vec<Told> = rungs.iter().take(6).map(|rung| rung.told).collect();
    let expected = [
        Told::OnDuty,
        Told::OnDutyEverywhere,
        Told::Second,
        Told::SurgeonByVoice,
        Told::Everyone,
        Told::Patient,
    ];
    assert_eq!(told, expected);
    let names: Vec<String> = fs::read_dir(&practice.letters)
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".json"))
        .collect();
    let mut books = practice.books().await;
    let sent = deliveries::in_state(&mut books, practice.id, DeliveryState::Sent, 1_000).await.unwrap();
    for delivery in sent.iter().filter(|delivery| delivery.sent_with.is_none()) {
        assert!(names.iter().any(|name| name.contains(&delivery.id.to_string())), "{delivery:?}");
    }
}

#[tokio::test]
async fn two_runners_killed_at_every_answer_they_wait_for_fire_each_rung_once() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        let (mut killed, mut finished) = (0, 0);
        // Few answers at first and then more and more: PostgreSQL lets wait more often than SQLite does.
        for place in (0u16..70).map(|step| step * step / 8) {
            let running = practice.started_anew();
            let now = || running.moment();
            let doorway = running.doorway();
            let working = runner::until_idle(running.desk(), &doorway, &now, 2);
            match until_killed(working, place).await {
                Some(tally) => {
                    tally.unwrap();
                    finished += 1;
                }
                None => killed += 1,
            }
            practice.seconds_pass(61);
        }
        assert!(killed > 15 && finished > 5, "{killed} killed, {finished} finished");
        practice.minutes_of_work_pass(5).await;
        nothing_lost_or_doubled(&practice, check).await;
    })
    .await;
}

/// The real loop of the server, by the machine's clock; only the practice's clock is the test's own.
#[tokio::test]
async fn the_running_server_notices_by_itself_that_its_clock_was_set_back() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("form", in_danger(), &[]).await.check;
        let begun = ladder_of(&practice, check).await.begun;
        let clock = practice.app.clone();
        let serving = runner::run(practice.desk().clone(), practice.doorway(), move || clock.moment(), 1.0);
        let looking = async {
            let rung = async || !rungs_of(&practice, &ladder_of(&practice, check).await).await.is_empty();
            while !rung().await {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
            practice.minutes_pass(-180);
            let alarm = async || {
                let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
                open.iter().any(|alarm| alarm.kind == AlarmKind::ClockSetBack)
            };
            while !alarm().await {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        };
        tokio::select! {
            () = serving => panic!("the server ended by itself"),
            seen = tokio::time::timeout(Duration::from_secs(60), looking) => seen.unwrap(),
        }
        let moved = begun.duration_since(ladder_of(&practice, check).await.begun).as_secs();
        assert!((180 * 60..180 * 60 + 5).contains(&moved), "{moved} s");
    })
    .await;
}
