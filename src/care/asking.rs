//! What a decision asks of the office: a call, how urgent it is, and by when it is made.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Done;
use crate::care::review::Deciding;
use crate::ids::CallbackId;
use crate::ids::Moment;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::callbacks::CallbackState;
use crate::store::checks::WoundCheck;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::reviews::Review;
use crate::triage::Decision;
use crate::triage::Urgency;

pub async fn ask_for_call(
    conn: &mut Conn,
    check: &WoundCheck,
    review: &Review,
    deciding: &Deciding,
    due: Timestamp,
    moment: &Moment,
) -> Done<()> {
    let urgency = call_urgency(check.assessment.urgency, deciding.decision);
    let callback = Callback {
        id: CallbackId::mint(moment),
        practice: check.practice,
        wound: check.wound,
        check: check.id,
        review: review.id,
        urgency,
        reason: deciding.decision.words().to_owned(),
        ask: deciding.ask.trim().into(),
        due,
        missed: 0,
        state: CallbackState::Open,
        outcome: None,
        hand_back_note: FreeText::default(),
        closed: None,
        created: moment.now,
        visit: None,
        emergency_place: FreeText::default(),
        next_try: None,
    };
    callbacks::insert(conn, &callback).await?;
    let about = format!("callback:{}", callback.id);
    notices::enqueue(conn, check.practice, NoticeKind::CallToMake, Recipient::Office, &about, moment).await?;
    Ok(())
}

/// By when the office must have rung; `None`: the decision asks for no call.
pub fn call_due(check: &WoundCheck, decision: Decision, now: Timestamp) -> Option<Timestamp> {
    let within = call_within(call_urgency(check.assessment.urgency, decision));
    decision.needs_a_call().then(|| now + within)
}

/// A call is never less urgent than its check; sending someone to the emergency department is as urgent as it gets.
fn call_urgency(check: Urgency, decision: Decision) -> Urgency {
    match decision {
        Decision::GoToEmergency => Urgency::GoNow,
        Decision::ComeIn | Decision::CallByOffice => check.max(Urgency::Tomorrow),
        Decision::HealingAsExpected
        | Decision::ChangeHomeCare
        | Decision::Antibiotic
        | Decision::AnotherPhoto => check,
    }
}

/// Voice within ten minutes, half an hour, four hours or a day (proposals, no source).
pub fn call_within(urgency: Urgency) -> SignedDuration {
    match urgency {
        Urgency::GoNow => SignedDuration::from_mins(10),
        Urgency::RingNow => SignedDuration::from_mins(30),
        Urgency::Today => SignedDuration::from_hours(4),
        Urgency::Tomorrow | Urgency::OnTrack => SignedDuration::from_hours(24),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_call_is_never_less_urgent_than_its_check() {
        for check in Urgency::ALL {
            for decision in Decision::ALL {
                assert!(call_urgency(*check, *decision) >= *check);
            }
        }
    }
}
