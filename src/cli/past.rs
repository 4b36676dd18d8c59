//! The invented practice's past: weeks of ordinary checks, answered and closed, so that its figures have something to
//! count. Told in short, by day and local clock, and turned into the same stories as the rest.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde_json::Value;

use crate::cli::Failure;
use crate::cli::story::CallLine;
use crate::cli::story::CheckLine;
use crate::cli::story::DecisionLine;
use crate::cli::story::Story;
use crate::ids::WoundId;
use crate::plan::EndWhy;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::store::Conn;
use crate::store::plan;
use crate::store::plan::Ended;
use crate::store::staff::StaffMember;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::words::Language;

/// Minutes after a decision at which the office rings and speaks to the patient.
const CALL_AFTER_MIN: i64 = 8;

#[derive(Deserialize)]
pub struct Past {
    /// Answers by a short name, laid over the quiet ones.
    answers: BTreeMap<String, Value>,
    /// What is written to the patient with each decision.
    replies: BTreeMap<String, String>,
    patients: Vec<PastPatient>,
}

#[derive(Deserialize)]
struct PastPatient {
    name: String,
    born: Date,
    phone: String,
    site: Site,
    side: Side,
    procedure: String,
    surgeon: String,
    operated_days_ago: i64,
    checks: Vec<PastCheck>,
}

/// Days ago, local clock, name of the answers, minutes to the decision, the decision, what the surgeon said about how
/// urgent it was, and for "come in" the hours until then.
#[derive(Deserialize)]
struct PastCheck(i64, Time, String, i64, Decision, Option<Urgency>, Option<f64>);

impl Past {
    /// The past as stories, in hours before `now`.
    pub fn stories(&self, now: Timestamp, zone: &TimeZone) -> Result<Vec<Story>, Failure> {
        self.patients.iter().map(|patient| self.story(patient, now, zone)).collect()
    }

    fn story(&self, patient: &PastPatient, now: Timestamp, zone: &TimeZone) -> Result<Story, Failure> {
        let operated = hours_ago(patient.operated_days_ago, Time::constant(9, 30, 0, 0), now, zone)?;
        Ok(Story {
            name: patient.name.clone(),
            born: patient.born,
            phone: patient.phone.clone(),
            language: Language::English,
            helper: None,
            site: patient.site,
            side: patient.side,
            procedure: patient.procedure.clone(),
            surgeon: patient.surgeon.clone(),
            operated_h_ago: operated,
            size: None,
            strips: Some((1, 30.0)),
            pen_line: false,
            risk: quiet_risk(),
            shown_link: false,
            checks: patient
                .checks
                .iter()
                .map(|check| self.check(check, now, zone))
                .collect::<Result<Vec<CheckLine>, Failure>>()?,
        })
    }

    fn check(&self, check: &PastCheck, now: Timestamp, zone: &TimeZone) -> Result<CheckLine, Failure> {
        let PastCheck(days_ago, clock, answers, after_min, decision, judged, come_in_after_h) = check;
        let reply = self.replies.get(decision.code()).ok_or("the past has no reply for a decision")?;
        Ok(CheckLine {
            h_ago: hours_ago(*days_ago, *clock, now, zone)?,
            photos: Vec::new(),
            answers: self.answers.get(answers).cloned().ok_or("the past has no answers by that name")?,
            decided: Some(DecisionLine {
                after_min: *after_min,
                decision: *decision,
                reply: reply.clone(),
                note: String::new(),
                ask: String::new(),
                read_after_min: None,
                asked: None,
                asked_after_min: None,
                call: call(*decision),
                judged: *judged,
                come_in_after_h: *come_in_after_h,
            }),
        })
    }
}

/// The one call that a decision asks for; empty: it asks for none.
fn call(decision: Decision) -> Vec<CallLine> {
    let outcome = match decision {
        Decision::ComeIn => CallOutcome::VisitBooked,
        Decision::GoToEmergency => CallOutcome::WentToEmergency,
        Decision::CallByOffice
        | Decision::HealingAsExpected
        | Decision::ChangeHomeCare
        | Decision::Antibiotic
        | Decision::AnotherPhoto => CallOutcome::WillFollowAdvice,
    };
    let rings = CallLine {
        after_min: CALL_AFTER_MIN,
        result: CallResult::Spoke,
        outcome: Some(outcome),
        note: String::new(),
        visit_after_h: None,
    };
    decision.needs_a_call().then_some(rings).into_iter().collect()
}

/// Asked about everything that matters, and nothing is there.
fn quiet_risk() -> RiskFactors {
    RiskFactors {
        diabetes: Some(crate::plan::Diabetes::None),
        immunity: Some(crate::plan::Immunity::None),
        sglt2: Some(false),
        blood_thinner: Some(false),
        pregnant: Some(false),
        heart_valve: Some(false),
        poor_circulation: Some(false),
        mrsa_before: Some(false),
        beta_blocker: Some(false),
        redness_hard_to_see: Some(false),
        lives_alone: Some(false),
        takes_antibiotic: Some(false),
        ..RiskFactors::default()
    }
}

/// Those whose story lies in the past have healed since: nothing is due from them any more.
pub async fn end(
    conn: &mut Conn,
    surgeon: &StaffMember,
    wounds: impl Iterator<Item = WoundId>,
    now: Timestamp,
) -> Result<(), Failure> {
    let ended = Ended { why: EndWhy::Healed, by: surgeon.id, at: now };
    for wound in wounds {
        plan::end(conn, surgeon.practice, wound, ended).await?;
    }
    Ok(())
}

fn hours_ago(days: i64, clock: Time, now: Timestamp, zone: &TimeZone) -> Result<f64, Failure> {
    let day = now.to_zoned_datetime(zone.clone()).date().checked_sub(days.days())?;
    let then = day.to_datetime(clock).to_zoned_datetime(zone.clone())?.timestamp();
    Ok(now.duration_since(then).as_secs_f64() / 3_600.0)
}
