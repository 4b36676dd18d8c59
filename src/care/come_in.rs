//! The patient's own answer to "come in": they will, or cannot at that time, and then somebody rings.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::asking::call_within;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::CallbackId;
use crate::ids::Moment;
use crate::ids::ReviewId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::callbacks::CallbackState;
use crate::store::checks;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::reviews;
use crate::store::reviews::ComeInAnswer;
use crate::store::reviews::Review;
use crate::store::wounds;
use crate::triage::Urgency;

/// The visit a phone is asked about; `None`: none lies ahead, or it was answered.
pub async fn asked(desk: &Desk, holder: &LinkHolder, now: Timestamp) -> Done<Option<Review>> {
    newest(&mut *desk.db.read().await?, holder, now).await
}

async fn newest(conn: &mut Conn, holder: &LinkHolder, now: Timestamp) -> Done<Option<Review>> {
    let unanswered = reviews::come_in_unanswered(conn, holder.practice, now).await?;
    Ok(unanswered
        .into_iter()
        .filter(|(wound, _)| *wound == holder.wound)
        .map(|(_, review)| review)
        .next_back())
}

/// Keeps the answer. Whoever cannot come then is rung, unless somebody is about to.
pub async fn answer(
    desk: &Desk,
    holder: &LinkHolder,
    id: ReviewId,
    answer: ComeInAnswer,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    let review = newest(&mut tx, holder, moment.now).await?.filter(|review| review.id == id);
    // Pressed twice, or too late: what stands, stands.
    let Some(review) = review else { return Ok(()) };
    reviews::answer_come_in(&mut tx, holder.practice, id, answer, moment.now).await?;
    let open = callbacks::open_of_wound(&mut tx, holder.practice, holder.wound).await?;
    if answer == ComeInAnswer::CannotThen && open.is_empty() {
        let check = checks::find(&mut tx, holder.practice, review.check).await?.ok_or(CareError::NotFound)?;
        let urgency = check.assessment.urgency.max(Urgency::Tomorrow);
        let callback = Callback {
            id: CallbackId::mint(moment),
            practice: holder.practice,
            wound: holder.wound,
            check: check.id,
            review: id,
            urgency,
            reason: "Cannot come at that time: find another".to_owned(),
            ask: FreeText::default(),
            due: moment.now + call_within(urgency),
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
        callbacks::insert(&mut tx, &callback).await?;
        let about = format!("callback:{}", callback.id);
        let (kind, to) = (NoticeKind::CallToMake, Recipient::Office);
        notices::enqueue(&mut tx, holder.practice, kind, to, &about, moment).await?;
    }
    let (actor, subject) = (Actor::Link(holder.link), format!("review:{id}"));
    let detail = format!("answer={}", answer.code());
    record::note(&mut tx, holder.practice, actor, "come_in.answer", &subject, &detail, moment.now).await?;
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(())
}
