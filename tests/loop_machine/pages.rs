//! What the page of a check may tell its patient (I10): what was done about it, and nothing else.

use closewatch::care::progress::Progress;
use closewatch::care::progress::Seen;
use closewatch::store::checks::CheckState;
use closewatch::triage::CallResult;

use crate::laws::Fault;
use crate::model;
use crate::model::Model;
use crate::model::Stands;

pub fn page(model: &Model, place: usize, told: &Progress) -> Result<(), Fault> {
    let check = &model.checks[place];
    let state = match check.stands {
        Stands::Queued => CheckState::Queued,
        Stands::InReview { .. } => CheckState::InReview,
        Stands::AwaitingCall => CheckState::AwaitingCall,
        Stands::Closed => CheckState::Closed,
    };
    let seen = match check.seen {
        model::Seen::NotYet => Seen::NotYet,
        model::Seen::All => Seen::All,
        model::Seen::Part => Seen::Part,
    };
    if (told.state, told.seen) == (CheckState::Closed, Seen::Part) {
        return Err(format!("I1 conservation: of {check:?} nobody has seen all, and it is closed"));
    }
    let rung = model.newest_calls(place);
    let is_told = match told.call {
        Some(call) => rung.iter().any(|rung| {
            (rung.at, rung.spoke) == (call.at.as_millisecond(), call.result == CallResult::Spoke)
        }),
        None => rung.is_empty(),
    };
    match (told.state, told.seen) == (state, seen) && is_told {
        true => Ok(()),
        false => Err(format!("I10 status: the page tells {told:?} of {check:?}, rung: {rung:?}")),
    }
}
