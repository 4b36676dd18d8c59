//! The thread with the patient: reading needs the PIN, asking needs only the link.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::LinkHolder;
use crate::care::assessing;
use crate::care::duty;
use crate::care::duty::Cover;
use crate::care::knock;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::MessageId;
use crate::ids::Moment;
use crate::store::assessments;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::duty as duty_store;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::thread;
use crate::store::thread::Message;
use crate::store::thread::Sender;
use crate::store::wounds;
use crate::store::wounds::Wound;

const LONGEST_QUESTION: usize = 1_000;

/// What the patient pages show of one wound without the PIN: what to do, never what was answered.
#[derive(Clone, Debug)]
pub struct Home {
    pub practice: Practice,
    pub wound: Wound,
    pub patient: Patient,
    /// Answers not yet marked as read.
    pub unread: usize,
    /// Whether anybody watches now.
    pub cover: Cover,
}

/// Reads what the *Today* page and the check form need.
pub async fn home(desk: &Desk, holder: &LinkHolder, now: Timestamp) -> Done<Home> {
    let mut conn = desk.db.read().await?;
    let wound = wounds::find(&mut conn, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    let messages = thread::of_wound(&mut conn, holder.practice, holder.wound).await?;
    Ok(Home {
        practice: practices::find(&mut conn, holder.practice).await?.ok_or(CareError::NotFound)?,
        patient: patients::find(&mut conn, holder.practice, wound.patient)
            .await?
            .ok_or(CareError::NotFound)?,
        cover: duty::cover(&mut conn, holder.practice, now).await?,
        wound,
        unread: messages
            .iter()
            .filter(|message| message.sender == Sender::Practice && message.read.is_none())
            .count(),
    })
}

/// The thread as the patient reads it.
#[derive(Clone, Debug)]
pub struct Answered {
    pub practice: Practice,
    pub messages: Vec<Message>,
    /// What was noted beside checks and answers that were wrong, oldest first.
    pub corrections: Vec<Correction>,
    pub checks: Vec<WoundCheck>,
    pub staff: Vec<StaffMember>,
}

impl Answered {
    /// When the check that a correction is about was sent.
    pub fn sent(&self, correction: &Correction) -> Timestamp {
        let check = self.checks.iter().find(|check| check.id == correction.check);
        check.map_or(correction.noted, |check| check.received)
    }
}

/// Reads the thread. Refused until the PIN was given on this phone.
pub async fn read(desk: &Desk, holder: &LinkHolder, now: Timestamp) -> Done<Answered> {
    if !holder.may_read {
        return Err(CareError::NotAllowed);
    }
    let answered = {
        let mut conn = desk.db.read().await?;
        Answered {
            practice: practices::find(&mut conn, holder.practice).await?.ok_or(CareError::NotFound)?,
            messages: thread::of_wound(&mut conn, holder.practice, holder.wound).await?,
            corrections: corrections::of_wound(&mut conn, holder.practice, holder.wound).await?,
            checks: checks::of_wound(&mut conn, holder.practice, holder.wound).await?,
            staff: staff::of_practice(&mut conn, holder.practice).await?,
        }
    };
    let mut tx = desk.db.write().await?;
    let subject = format!("wound:{}", holder.wound);
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "thread.view", &subject, "", now)
        .await?;
    tx.commit().await?;
    Ok(answered)
}

/// "I have read this."
pub async fn mark_read(desk: &Desk, holder: &LinkHolder, id: MessageId, now: Timestamp) -> Done<()> {
    if !holder.may_read {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    if !thread::note_read(&mut tx, holder.practice, holder.wound, id, now).await? {
        return Err(CareError::NotFound);
    }
    let subject = format!("message:{id}");
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "message.read", &subject, "", now)
        .await?;
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(())
}

/// The patient asks back. The newest check of the wound waits again, so that a person sees the question; alarm words
/// in it can only raise it.
pub async fn ask(desk: &Desk, holder: &LinkHolder, form_key: &str, body: &str, moment: &Moment) -> Done<()> {
    let body = body.trim();
    // Codes, not words: the page has them in the patient's language.
    let refused = |code: &str| CareError::Entered(vec![Fault::new("question", code)]);
    if body.is_empty() {
        return Err(refused("empty"));
    }
    if body.chars().count() > LONGEST_QUESTION {
        return Err(refused("too_long"));
    }
    let mut tx = desk.db.write().await?;
    let wound = wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    knock::must_be_open(&mut tx, holder, moment.now).await?;
    let newest = checks::of_wound(&mut tx, holder.practice, holder.wound).await?.into_iter().next();
    // Without a check there is no row in the queue that would bring the question before a person.
    let mut check = newest.ok_or_else(|| refused("no_check"))?;
    let message = Message {
        id: MessageId::mint(moment),
        practice: holder.practice,
        wound: holder.wound,
        check: Some(check.id),
        review: None,
        sender: Sender::Patient,
        staff: None,
        link: Some(holder.link),
        body: body.into(),
        sent: moment.now,
        read_by: None,
        read: None,
    };
    if !thread::insert(&mut tx, &message, Some(form_key)).await? {
        return Ok(());
    }
    let hours = duty_store::hours(&mut tx, holder.practice).await?;
    let with_words = assessing::assess_with_words(desk, &mut tx, &wound, &check, body).await?;
    let before = std::mem::replace(&mut check.assessment, with_words.assessment);
    check.facts = Some(with_words.facts);
    check.assessment.not_below(&before);
    check.assessment.asked_back();
    let protocol = with_words.protocol;
    let due = protocol.targets().due_around(check.assessment.urgency, moment.now, &hours);
    match check.state {
        CheckState::Closed => {
            check.due = due;
            check.state = CheckState::Queued;
            check.claim = None;
        }
        // The call stays the office's, and the question comes before the surgeon at once: it must not end unread with
        // the call.
        CheckState::AwaitingCall => {
            check.due = check.due.min(due);
            check.state = CheckState::Queued;
        }
        CheckState::Queued | CheckState::InReview => check.due = check.due.min(due),
    }
    checks::amend(&mut tx, &check).await?;
    protocols::keep_program(&mut tx, holder.practice, &protocol, moment.now).await?;
    assessments::add(&mut tx, &check, moment.now).await?;
    assessing::note_urgent(&mut tx, &check, moment).await?;
    let subject = format!("message:{}", message.id);
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "message.ask", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(())
}
