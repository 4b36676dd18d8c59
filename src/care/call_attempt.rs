//! One attempt at a call: what the caller logs, what is wrong with it, and what it leaves behind.

use jiff::Timestamp;

use crate::care::Done;
use crate::care::Fault;
use crate::care::plan;
use crate::care::silence;
use crate::ids::Moment;
use crate::store::Conn;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::patients::Patient;
use crate::store::reviews;
use crate::store::reviews::ComeInAnswer;
use crate::store::reviews::Review;
use crate::store::silences::Interpreter;
use crate::store::staff::StaffMember;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Decision;
use crate::triage::Whom;

/// What the caller logs.
#[derive(Clone, Debug)]
pub struct Attempting {
    pub result: CallResult,
    pub note: String,
    /// With "spoke": how it ended. `None`: spoke, but the matter stays open.
    pub outcome: Option<CallOutcome>,
    pub whom: Whom,
    /// Who spoke; empty: the one who was rung.
    pub spoke_with: String,
    pub interpreter: Interpreter,
    /// With "visit booked": when; `None`: as the surgeon asked.
    pub visit: Option<Timestamp>,
    /// With "emergency department": which one; empty: not said.
    pub place: String,
    /// When the caller means to try again; `None`: soon.
    pub next_try: Option<Timestamp>,
}

impl Attempting {
    /// A try at the patient themselves, with nothing else to say about it.
    pub fn of(result: CallResult) -> Attempting {
        Attempting {
            result,
            note: String::new(),
            outcome: None,
            whom: Whom::Patient,
            spoke_with: String::new(),
            interpreter: Interpreter::NotNeeded,
            visit: None,
            place: String::new(),
            next_try: None,
        }
    }
}

pub(super) fn spoke_with(attempting: &Attempting, patient: &Patient) -> String {
    match (attempting.result, attempting.spoke_with.trim(), attempting.whom) {
        (CallResult::NoAnswer | CallResult::MessageLeft, _, _) => String::new(),
        (CallResult::Spoke, "", Whom::Patient) => patient.name.clone(),
        (CallResult::Spoke, "", Whom::SecondContact) => patient.helper_name.clone().unwrap_or_default(),
        (CallResult::Spoke, typed, _) => typed.to_owned(),
    }
}

pub(super) fn attempt_faults(
    attempting: &Attempting,
    patient: &Patient,
    review: Option<&Review>,
    now: Timestamp,
) -> Vec<Fault> {
    let mut faults = Vec::new();
    let fault = |field, words: &str| Fault::new(field, words);
    if attempting.whom == Whom::SecondContact && patient.helper_phone.is_none() {
        faults.push(fault("whom", "No second contact is named for this patient."));
    }
    if attempting.next_try.is_some_and(|at| at <= now) {
        faults.push(fault("next_try", "That time has passed. Choose a later one, or leave it empty."));
    }
    if attempting.result != CallResult::Spoke {
        return faults;
    }
    let asked = review.and_then(|review| review.come_in);
    match (attempting.outcome, attempting.visit.or(asked)) {
        (Some(CallOutcome::CouldNotReach), _) => {
            faults.push(fault("outcome", "You spoke with them: choose how the call ended."));
        }
        (Some(CallOutcome::VisitBooked), None) => faults.push(fault("visit", "Say when the visit is.")),
        (Some(CallOutcome::VisitBooked), Some(when)) if attempting.visit.is_some() && when <= now => {
            faults.push(fault("visit", "That time has passed. Choose a later one."));
        }
        (Some(_) | None, _) => {}
    }
    faults
}

/// What a call that ended leaves behind: the visit in the plan, the answer to "come in", word that they arrived.
pub(super) async fn came_to(
    conn: &mut Conn,
    member: &StaffMember,
    callback: &mut Callback,
    review: Option<&Review>,
    outcome: CallOutcome,
    attempting: &Attempting,
    moment: &Moment,
) -> Done<()> {
    let asked = review.filter(|review| review.decision == Decision::ComeIn);
    match outcome {
        CallOutcome::VisitBooked => {
            let when = attempting.visit.or(asked.and_then(|review| review.come_in));
            callback.visit = when;
            if let Some(when) = when.filter(|when| asked.and_then(|review| review.come_in) != Some(*when)) {
                plan::book_visit(
                    conn,
                    member,
                    callback.wound,
                    when,
                    asked.and_then(|one| one.come_in),
                    moment,
                )
                .await?;
            }
        }
        CallOutcome::WentToEmergency => {
            callback.emergency_place = attempting.place.trim().into();
            let sent_by = format!("callback:{}", callback.id);
            silence::await_arrival(conn, member, callback.wound, &sent_by, moment).await?;
        }
        CallOutcome::WillFollowAdvice | CallOutcome::CouldNotReach => {}
    }
    if let Some(asked) = asked {
        let answer = ComeInAnswer::WillCome;
        reviews::answer_come_in(conn, member.practice, asked.id, answer, moment.now).await?;
    }
    callbacks::note_attempt(conn, callback).await?;
    Ok(())
}
