//! What *Today* asks for, hour by hour, of one invented patient.

use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::TimeZone;

use crate::care::duty::Cover;
use crate::care::duty::Watcher;
use crate::care::plan::PlanToday;
use crate::care::thread::Home;
use crate::duty::Watch;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PlanStepId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::PlanStep;
use crate::plan::PlanText;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::plan::StepKind;
use crate::plan::care_plan_by;
use crate::sheet::Paper;
use crate::store::patients::Patient;
use crate::store::plan::KeptStep;
use crate::store::plan::Pause;
use crate::store::plan::Standing;
use crate::store::practices::Practice;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;
use crate::web::patient::tasks::STRIP_PAGES;
use crate::web::patient::tasks::Task;
use crate::web::patient::tasks::tasks;
use crate::words::Language;
use crate::words::patient_today::TodayWords;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// Operated and packed on Monday 2 March 2026 at 13:00 in New York.
fn home() -> Home {
    let operated = at("2026-03-02T18:00:00Z");
    let moment = Moment::new(operated, Chance::seeded(3));
    let practice = Practice {
        id: PracticeId::mint(&moment),
        name: "Harbor Surgery".to_owned(),
        phone: "202-555-0143".to_owned(),
        emergency_number: "911".to_owned(),
        zone: TimeZone::get("America/New_York").unwrap(),
        paper: Paper::Letter,
        opens_minute: 480,
        closes_minute: 1020,
    };
    let patient = Patient {
        id: PatientId::mint(&moment),
        practice: practice.id,
        name: "Rosa".to_owned(),
        born: date(1970, 1, 2),
        phone: "202-555-0100".to_owned(),
        language: Language::English,
        helper_name: None,
        helper_phone: None,
        interpreter: None,
    };
    let operation = Operation {
        site: Site::Thigh,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated,
        size: None,
        packing: Some(Packing { pieces: 2, length_cm: Some(60.4), placed: operated }),
        pen_line: None,
    };
    let wound = Wound {
        id: WoundId::mint(&moment),
        practice: practice.id,
        patient: patient.id,
        surgeon: StaffId::mint(&moment),
        operation,
        risk: RiskFactors::default(),
        strip_out: None,
        last_check: None,
        state: WoundState::Open,
        enrolled: operated,
    };
    let cover = Cover { watch: Watch::Nobody { again: None }, by: Watcher::Person };
    Home { practice, wound, patient, unread: 0, cover }
}

/// The plan as enrolled, for somebody who takes an antibiotic.
fn plan(home: &Home) -> PlanToday {
    let moment = Moment::new(home.wound.enrolled, Chance::seeded(4));
    let risk = RiskFactors { takes_antibiotic: Some(true), ..RiskFactors::default() };
    let text = PlanText::built_in().clone();
    let steps = care_plan_by(&home.wound.operation, &risk, &text.numbers, &home.practice.zone);
    let keep = |step| KeptStep {
        id: PlanStepId::mint(&moment),
        wound: home.wound.id,
        step,
        done: None,
        cancelled: None,
        sequence: 0,
        changed: None,
    };
    PlanToday { steps: steps.into_iter().map(keep).collect(), standing: Standing::default(), text }
}

fn titles(home: &Home, now: &str) -> (Vec<String>, Vec<String>) {
    titles_of(home, &plan(home), now)
}

fn titles_of(home: &Home, plan: &PlanToday, now: &str) -> (Vec<String>, Vec<String>) {
    let tasks = tasks(home, plan, TodayWords(Language::English), at(now));
    let titles = |tasks: Vec<Task>| {
        tasks.into_iter().map(|task| format!("{} {}", task.mark, task.title)).collect::<Vec<_>>()
    };
    (titles(tasks.now), titles(tasks.next))
}

#[test]
fn on_the_first_day_the_strip_stays_and_a_check_is_due() {
    let (now, next) = titles(&home(), "2026-03-03T15:00:00Z");
    assert_eq!(
        now,
        ["wait Leave the gauze strip in", "due Take your antibiotic", "due Send a wound check today"]
    );
    assert_eq!(next, ["wait Start to wash the wound", "wait Next wound check"]);
}

#[test]
fn the_strip_pages_open_when_the_strip_may_come_out_and_close_when_it_is_out() {
    let words = TodayWords(Language::English);
    let mut home = home();
    let pages = |home: &Home, now: &str| tasks(home, &plan(home), words, at(now)).strip_pages;
    assert_eq!(pages(&home, "2026-03-04T09:59:59Z"), None);
    assert_eq!(pages(&home, "2026-03-04T10:00:00Z"), Some(STRIP_PAGES));
    assert_eq!(pages(&home, "2026-03-06T10:00:00Z"), Some(STRIP_PAGES));
    home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
    assert_eq!(pages(&home, "2026-03-06T10:00:00Z"), None);
}

#[test]
fn a_moved_strip_is_late_six_hours_after_its_new_time() {
    let home = home();
    let mut plan = plan(&home);
    for kept in plan.steps.iter_mut().filter(|kept| kept.step.kind == StepKind::PackingRemoval) {
        kept.step = kept.step.moved_to(at("2026-03-05T18:00:00Z"));
    }
    let first = |now: &str| titles_of(&home, &plan, now).0.remove(0);
    assert_eq!(first("2026-03-05T00:00:01Z"), "wait Leave the gauze strip in");
    assert_eq!(first("2026-03-06T00:00:00Z"), "due Take the gauze strip out");
    assert_eq!(first("2026-03-06T00:00:01Z"), "late The gauze strip is late: take it out now");
}

#[test]
fn a_paused_plan_asks_for_no_check_and_no_washing_but_still_for_pills() {
    let mut home = home();
    home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
    let mut plan = plan(&home);
    let pause = Pause { since: at("2026-03-05T12:00:00Z"), until: at("2026-03-08T12:00:00Z") };
    plan.standing.pause = Some(pause);
    let (now, next) = titles_of(&home, &plan, "2026-03-08T11:59:59Z");
    assert_eq!(now, ["due Take your antibiotic", "wait Your plan has a break"]);
    assert!(next.is_empty());
    let (now, _) = titles_of(&home, &plan, "2026-03-08T12:00:00Z");
    assert!(now.contains(&"due Send a wound check today".to_owned()), "{now:?}");
}

#[test]
fn a_visit_is_next_until_its_day_and_then_now() {
    let home = home();
    let mut plan = plan(&home);
    let when = at("2026-03-06T15:00:00Z");
    let mut visit = plan.steps[0].clone();
    visit.step = PlanStep { kind: StepKind::Visit, from: when, due: when };
    plan.steps.push(visit);
    assert!(titles_of(&home, &plan, "2026-03-05T15:00:00Z").1[0].contains("Come to the practice"));
    assert!(titles_of(&home, &plan, "2026-03-06T12:00:00Z").0[1].contains("due Come to the practice"));
}

#[test]
fn an_overdue_strip_comes_first_and_is_marked_late() {
    let (now, _) = titles(&home(), "2026-03-05T00:00:00Z");
    assert_eq!(now[0], "due Take the gauze strip out");
    let (now, _) = titles(&home(), "2026-03-05T00:00:01Z");
    assert_eq!(now[0], "late The gauze strip is late: take it out now");
}

#[test]
fn washing_is_twice_a_day_in_the_first_week_and_then_once() {
    let mut home = home();
    home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
    let (now, _) = titles(&home, "2026-03-05T15:00:00Z");
    assert_eq!(now[1..3], ["due Wash the wound 2 times today", "due Put on clean gauze"]);
    let (now, _) = titles(&home, "2026-03-12T15:00:00Z");
    assert_eq!(now[1], "due Wash the wound once today");
}

#[test]
fn a_check_sent_today_is_done_and_one_after_hours_is_late() {
    let mut home = home();
    home.wound.last_check = Some(at("2026-03-03T14:00:00Z"));
    let (now, _) = titles(&home, "2026-03-03T15:00:00Z");
    assert!(now.contains(&"done Today's wound check is sent".to_owned()));
    let (now, _) = titles(&home, "2026-03-05T01:00:01Z");
    assert!(now.contains(&"late Send a wound check today".to_owned()), "{now:?}");
}

#[test]
fn a_plan_that_ended_and_a_wound_that_was_closed_say_so() {
    let mut home = home();
    home.wound.strip_out = Some(at("2026-03-04T18:30:00Z"));
    let (now, next) = titles(&home, "2026-06-10T15:00:00Z");
    assert_eq!(now, ["due The plan has come to its end"]);
    assert!(next.is_empty());
    home.wound.state = WoundState::Closed;
    let (now, _) = titles(&home, "2026-03-05T15:00:00Z");
    assert_eq!(now, ["done Your surgeon has closed this plan"]);
}
