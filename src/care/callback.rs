//! Callbacks: the office rings, notes each attempt, and ends the call or hands it back to the surgeon.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::asking::call_within;
use crate::care::backup::noted;
use crate::care::backup::noted::Restored;
pub use crate::care::call_attempt::Attempting;
use crate::care::call_attempt::attempt_faults;
use crate::care::call_attempt::came_to;
use crate::care::call_attempt::spoke_with;
use crate::care::ladder;
use crate::care::progress;
use crate::care::progress::Seen;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::silence::own_link;
use crate::guards;
use crate::guards::Guard;
use crate::ids::CallAttemptId;
use crate::ids::CallbackId;
use crate::ids::Moment;
use crate::ids::ReviewId;
use crate::plan::Operation;
use crate::store::Conn;
use crate::store::callbacks;
use crate::store::callbacks::CallAttempt;
use crate::store::callbacks::Callback;
use crate::store::callbacks::CallbackState;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews;
use crate::store::reviews::Review;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::thread;
use crate::store::thread::Message;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::BestPhone;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::triage::Whom;
use crate::triage::YesNo;

/// Two missed attempts raise a callback by one class.
const MISSED_RAISES: i64 = 2;
/// Between two tries at somebody who does not answer (common practice; the times are ours).
const TRY_AGAIN_AFTER: SignedDuration = SignedDuration::from_mins(10);
/// How many finished callbacks the office sees below the open ones.
const ENDED_SHOWN: i64 = 20;

/// One callback with what the caller needs at hand. No photo: the office does not see them.
#[derive(Clone, Debug)]
pub struct Call {
    pub callback: Callback,
    pub patient: Patient,
    pub operation: Operation,
    pub attempts: Vec<CallAttempt>,
    /// Where the patient said they can be reached; `None`: they said nothing about it.
    pub reach: Option<Reach>,
    /// The check is of the most urgent class, or the surgeon sends the patient to the emergency department: the call
    /// cannot end as "could not reach".
    pub about_go_now: bool,
}

/// The number a patient gave with the check, for the two hours after it.
#[derive(Clone, Debug)]
pub struct Reach {
    pub phone: BestPhone,
    /// `None`: not said.
    pub voicemail: Option<YesNo>,
    pub said: Timestamp,
}

/// The office's list.
#[derive(Clone, Debug)]
pub struct Calls {
    pub practice: Practice,
    pub open: Vec<Call>,
    pub ended: Vec<Call>,
    pub staff: Vec<StaffMember>,
    /// `None`: these books never came out of a back-up.
    pub restored: Option<Restored>,
}

/// One callback in full.
#[derive(Clone, Debug)]
pub struct OpenedCall {
    pub practice: Practice,
    pub call: Call,
    pub review: Option<Review>,
    /// What was written to the patient with the decision.
    pub reply: Option<Message>,
    /// What the call is about: reasons and answers, no photo.
    pub check: WoundCheck,
    pub wound: Wound,
    /// For whoever may see them; empty otherwise.
    pub photos: Vec<Photo>,
    pub staff: Vec<StaffMember>,
}

/// Reads the list: open ones by class and due time, then the newest ended ones; and notes that the member saw it.
pub async fn list(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Calls> {
    may_call(member)?;
    record::note_list_view(desk, member, "callbacks.view", now).await?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let mut open = Vec::new();
    for callback in callbacks::open(&mut conn, member.practice).await? {
        open.push(call(&mut conn, callback).await?);
    }
    let mut ended = Vec::new();
    for callback in callbacks::ended(&mut conn, member.practice, ENDED_SHOWN).await? {
        ended.push(call(&mut conn, callback).await?);
    }
    let staff = staff::of_practice(&mut conn, member.practice).await?;
    Ok(Calls { practice, open, ended, staff, restored: noted::restored(&mut conn).await? })
}

/// Reads one callback, and notes that the member saw it.
pub async fn view(desk: &Desk, member: &StaffMember, id: CallbackId, now: Timestamp) -> Done<OpenedCall> {
    may_call(member)?;
    let opened = {
        let mut conn = desk.db.read().await?;
        let callback = callbacks::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
        let review_id = callback.review;
        let reviewed = reviews::of_check(&mut conn, member.practice, callback.check).await?;
        let messages = thread::of_wound(&mut conn, member.practice, callback.wound).await?;
        let check =
            checks::find(&mut conn, member.practice, callback.check).await?.ok_or(CareError::NotFound)?;
        let wound =
            wounds::find(&mut conn, member.practice, callback.wound).await?.ok_or(CareError::NotFound)?;
        let photos = match member.may_see_photos() {
            true => photos::of_check(&mut conn, member.practice, check.id).await?,
            false => Vec::new(),
        };
        OpenedCall {
            check,
            wound,
            photos,
            practice: practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?,
            call: call(&mut conn, callback).await?,
            review: reviewed.into_iter().find(|review| review.id == review_id),
            reply: messages.into_iter().find(|message| is_reply_to(message, review_id)),
            staff: staff::of_practice(&mut conn, member.practice).await?,
        }
    };
    record::note_view(desk, member, "callback.view", &format!("callback:{id}"), now).await?;
    Ok(opened)
}

fn is_reply_to(message: &Message, review: ReviewId) -> bool {
    message.review == Some(review)
}

async fn call(conn: &mut Conn, callback: Callback) -> Done<Call> {
    let wound = wounds::find(conn, callback.practice, callback.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(conn, callback.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let attempts = callbacks::attempts(conn, callback.practice, callback.id).await?;
    let check = checks::find(conn, callback.practice, callback.check).await?.ok_or(CareError::NotFound)?;
    let reviewed = reviews::of_check(conn, callback.practice, callback.check).await?;
    let sent_to_emergency = reviewed
        .iter()
        .any(|review| review.id == callback.review && review.decision == Decision::GoToEmergency);
    let about_go_now = check.assessment.urgency == Urgency::GoNow || sent_to_emergency;
    let reach = check.answers.phone.known().map(|phone| Reach {
        phone: phone.clone(),
        voicemail: check.answers.voicemail.known().copied(),
        said: check.received,
    });
    Ok(Call { callback, patient, operation: wound.operation, attempts, reach, about_go_now })
}

/// Notes an attempt. Two missed ones keep the callback open and raise it; speaking with an outcome ends it and closes
/// the check.
pub async fn log_attempt(
    desk: &Desk,
    member: &StaffMember,
    id: CallbackId,
    attempting: Attempting,
    moment: &Moment,
) -> Done<()> {
    may_call(member)?;
    let mut tx = desk.db.write().await?;
    let mut callback = open_callback(&mut tx, member, id).await?;
    let patient = patient_of(&mut tx, &callback).await?;
    let review = review_of(&mut tx, &callback).await?;
    let faults = attempt_faults(&attempting, &patient, review.as_ref(), moment.now);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let attempt = CallAttempt {
        id: CallAttemptId::mint(moment),
        practice: member.practice,
        callback: id,
        staff: member.id,
        whom: attempting.whom,
        result: attempting.result,
        spoke_with: spoke_with(&attempting, &patient).into(),
        interpreter: attempting.interpreter,
        note: attempting.note.trim().into(),
        at: moment.now,
    };
    callbacks::insert_attempt(&mut tx, &attempt).await?;
    ladder::stop(&mut tx, member, &format!("callback:{id}"), moment.now).await?;
    let (actor, subject) = (Actor::Staff(member.id), format!("callback:{id}"));
    let detail = format!("whom={} result={}", attempting.whom.code(), attempting.result.code());
    record::note(&mut tx, member.practice, actor, "callback.attempt", &subject, &detail, moment.now).await?;
    match (attempting.result, attempting.outcome) {
        (CallResult::Spoke, Some(outcome)) => {
            came_to(&mut tx, member, &mut callback, review.as_ref(), outcome, &attempting, moment).await?;
            finish(&mut tx, member, &callback, CallbackState::Closed, Some(outcome), moment.now).await?;
        }
        (CallResult::Spoke, None) => {
            callback.next_try = attempting.next_try;
            callbacks::note_attempt(&mut tx, &callback).await?;
        }
        (CallResult::NoAnswer | CallResult::MessageLeft, _) => {
            callback.missed += 1;
            if callback.missed % MISSED_RAISES == 0 {
                callback.urgency = callback.urgency.raised_once();
            }
            // The next try is due soon or when the caller chose, and never later than the class allows.
            let chosen = attempting.next_try.map_or(TRY_AGAIN_AFTER, |at| at.duration_since(moment.now));
            let wait = chosen.max(TRY_AGAIN_AFTER).min(call_within(callback.urgency));
            callback.due = moment.now + wait;
            callback.next_try = attempting.next_try;
            callbacks::note_attempt(&mut tx, &callback).await?;
            if attempting.result == CallResult::NoAnswer
                && attempting.whom == Whom::Patient
                && let Some(link) = own_link(&mut tx, member.practice, callback.wound, moment.now).await?
            {
                let missed = format!("call:{}", attempt.id);
                let (kind, to) = (NoticeKind::CallMissed, Recipient::Link(link));
                notices::enqueue(&mut tx, member.practice, kind, to, &missed, moment).await?;
            }
        }
    }
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

async fn patient_of(conn: &mut Conn, callback: &Callback) -> Done<Patient> {
    let wound = wounds::find(conn, callback.practice, callback.wound).await?.ok_or(CareError::NotFound)?;
    patients::find(conn, callback.practice, wound.patient).await?.ok_or(CareError::NotFound)
}

async fn review_of(conn: &mut Conn, callback: &Callback) -> Done<Option<Review>> {
    let reviewed = reviews::of_check(conn, callback.practice, callback.check).await?;
    Ok(reviewed.into_iter().find(|review| review.id == callback.review))
}

/// Ends a callback nobody answered: the check goes back to the surgeon, who decides what then. Never for a check of
/// the most urgent class, and not before two attempts at different times.
pub async fn could_not_reach(desk: &Desk, member: &StaffMember, id: CallbackId, now: Timestamp) -> Done<()> {
    may_call(member)?;
    let mut tx = desk.db.write().await?;
    let callback = open_callback(&mut tx, member, id).await?;
    let about = call(&mut tx, callback.clone()).await?;
    if about.about_go_now && guards::stands(Guard::EmergencyIsReached) {
        let words = "This call is about an emergency: it stays open until somebody has spoken with the patient. \
                     Try the helper, or hand it back to the surgeon.";
        return Err(CareError::Entered(vec![Fault::new("outcome", words)]));
    }
    let missed: Vec<Timestamp> = about
        .attempts
        .iter()
        .filter(|attempt| attempt.result != CallResult::Spoke)
        .map(|attempt| attempt.at)
        .collect();
    let apart = missed.iter().max().zip(missed.iter().min()).map(|(last, first)| last.duration_since(*first));
    if apart.is_none_or(|apart| apart < TRY_AGAIN_AFTER) {
        let words = "Try at least twice, ten minutes apart, before you give up.";
        return Err(CareError::Entered(vec![Fault::new("outcome", words)]));
    }
    finish(&mut tx, member, &callback, CallbackState::HandedBack, Some(CallOutcome::CouldNotReach), now)
        .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Hands a callback back to the surgeon with a word on why.
pub async fn hand_back(
    desk: &Desk,
    member: &StaffMember,
    id: CallbackId,
    note: &str,
    now: Timestamp,
) -> Done<()> {
    may_call(member)?;
    if note.trim().is_empty() {
        let words = "Say in a few words why the surgeon should look again.";
        return Err(CareError::Entered(vec![Fault::new("note", words)]));
    }
    let mut tx = desk.db.write().await?;
    let callback = open_callback(&mut tx, member, id).await?;
    callbacks::note_hand_back(&mut tx, &callback, note.trim()).await?;
    finish(&mut tx, member, &callback, CallbackState::HandedBack, None, now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// The callback, its wound held; refused when somebody ended it.
async fn open_callback(conn: &mut Conn, member: &StaffMember, id: CallbackId) -> Done<Callback> {
    let seen = callbacks::find(conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    wounds::hold(conn, member.practice, seen.wound).await?;
    let callback = callbacks::find(conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    match callback.state {
        CallbackState::Open => Ok(callback),
        CallbackState::HandedBack | CallbackState::Closed => Err(CareError::AlreadyDone),
    }
}

/// Ends a callback and moves its check: closed with the call, or back into the queue.
async fn finish(
    conn: &mut Conn,
    member: &StaffMember,
    callback: &Callback,
    state: CallbackState,
    outcome: Option<CallOutcome>,
    now: Timestamp,
) -> Done<()> {
    if !callbacks::end(conn, callback, state, outcome, member.id, now).await? {
        return Err(CareError::AlreadyDone);
    }
    ladder::stop(conn, member, &format!("callback:{}", callback.id), now).await?;
    let check = checks::find(conn, member.practice, callback.check).await?.ok_or(CareError::NotFound)?;
    let calls = callbacks::of_check(conn, member.practice, callback.check).await?;
    let is_last = calls.iter().all(|other| other.state != CallbackState::Open);
    let seen = progress::seen(conn, member.practice, check.id).await?;
    let check_state = match (check.state, state) {
        // What the patient added meanwhile, no surgeon has looked at yet.
        (CheckState::AwaitingCall, CallbackState::Closed)
            if is_last && seen == Seen::Part && guards::stands(Guard::DecidedAsSeen) =>
        {
            Some(CheckState::Queued)
        }
        (CheckState::AwaitingCall, CallbackState::Closed) if is_last => Some(CheckState::Closed),
        // Also where it was closed meanwhile by another decision: this call did not reach the patient.
        (CheckState::Closed, CallbackState::HandedBack) if guards::stands(Guard::HandedBackWaits) => {
            Some(CheckState::Queued)
        }
        (CheckState::AwaitingCall, CallbackState::HandedBack) => Some(CheckState::Queued),
        // A check that was amended meanwhile waits for the surgeon already.
        (CheckState::Queued | CheckState::InReview | CheckState::AwaitingCall | CheckState::Closed, _) => {
            None
        }
    };
    if let Some(check_state) = check_state {
        checks::set_state(conn, &check, check_state, now).await?;
    }
    let (actor, subject) = (Actor::Staff(member.id), format!("callback:{}", callback.id));
    let detail = format!("state={} outcome={}", state.code(), outcome.map_or("none", CallOutcome::code));
    Ok(record::note(conn, member.practice, actor, "callback.end", &subject, &detail, now).await?)
}

fn may_call(member: &StaffMember) -> Done<()> {
    if member.roles.office || member.roles.surgeon { Ok(()) } else { Err(CareError::NotAllowed) }
}
