//! What no message can tell a patient, a person tells them: the office gets a call to make.

use crate::care::CareError;
use crate::care::Done;
use crate::care::asking::call_within;
use crate::ids::CallbackId;
use crate::ids::Moment;
use crate::ids::ReviewId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::callbacks::CallbackState;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::notices;
use crate::store::notices::Notice;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::thread;
use crate::triage::Urgency;

/// Why the office rings, and what it says.
const REASON: &str = "An answer waits, and no message reaches the patient";
const ASK: &str = "Say that an answer waits on their page, and help them open it.";
/// An answer nobody can be told of is told by voice as soon as one that is due today (ours).
const URGENCY: Urgency = Urgency::Today;

/// Whether a call was made of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instead {
    /// The office has a call to make: this one, or one about the same check.
    Call,
    Nothing,
}

impl Instead {
    pub fn code(self) -> &'static str {
        match self {
            Instead::Call => "call",
            Instead::Nothing => "nothing",
        }
    }
}

/// Makes a call of a notice that cannot be sent, where it tells a patient of an answer.
pub async fn call_instead(conn: &mut Conn, notice: &Notice, moment: &Moment) -> Done<Instead> {
    match (notice.recipient, notice.kind) {
        (Recipient::Link(_), NoticeKind::AnswerReady) => {}
        // Who cannot be reminded is rung: the silence's own next step. One who did not answer a call is rung again.
        (
            Recipient::Link(_),
            NoticeKind::StepDue
            | NoticeKind::NotHeard
            | NoticeKind::ReplyUnread
            | NoticeKind::ComeInUnanswered
            | NoticeKind::CallMissed,
        ) => return Ok(Instead::Call),
        (Recipient::Link(_) | Recipient::Staff(_) | Recipient::Office, _) => return Ok(Instead::Nothing),
    }
    let Some((check, review)) = answered(conn, notice).await? else { return Ok(Instead::Nothing) };
    // What is done to a call holds its check.
    checks::hold(conn, notice.practice, check.id).await?;
    let open = callbacks::open(conn, notice.practice).await?;
    if open.iter().any(|call| call.check == check.id) {
        return Ok(Instead::Call);
    }
    let callback = Callback {
        id: CallbackId::mint(moment),
        practice: notice.practice,
        wound: check.wound,
        check: check.id,
        review,
        urgency: URGENCY,
        reason: REASON.to_owned(),
        ask: ASK.into(),
        due: moment.now + call_within(URGENCY),
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
    notices::enqueue(conn, notice.practice, NoticeKind::CallToMake, Recipient::Office, &about, moment)
        .await?;
    Ok(Instead::Call)
}

/// The check that was answered, and by which review.
async fn answered(conn: &mut Conn, notice: &Notice) -> Done<Option<(WoundCheck, ReviewId)>> {
    let id = notice.about.strip_prefix("message:").and_then(|id| id.parse().ok());
    let Some(id) = id else { return Ok(None) };
    let Some(message) = thread::find(conn, notice.practice, id).await? else { return Ok(None) };
    let (Some(check), Some(review)) = (message.check, message.review) else { return Ok(None) };
    let check = checks::find(conn, notice.practice, check).await?.ok_or(CareError::NotFound)?;
    Ok(Some((check, review)))
}
