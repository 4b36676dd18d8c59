//! The outbox: a notice becomes deliveries to the addresses of whom it is for, each is tried until it is sent, and what
//! cannot be sent is a thing for a person to see to, never a line in a log.
//!
//! At least once: a letter may go twice when the program is killed between sending and noting it. What says the same to the
//! same address goes in one letter.

use jiff::SignedDuration;
use jiff::Timestamp;

mod by_hand;
mod call_instead;
mod kinds;
mod quiet;
mod readers;
mod told_back;

pub(in crate::care) use quiet::quiet_until;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::outbox::call_instead::Instead;
use crate::care::outbox::call_instead::call_instead;
use crate::care::outbox::kinds::Places;
use crate::care::outbox::kinds::how_many;
use crate::care::outbox::kinds::page_of;
use crate::care::outbox::kinds::words;
use crate::care::outbox::quiet::can_wait;
use crate::care::outbox::readers::Place;
use crate::care::outbox::readers::readers;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::working::Worked;
use crate::care::working::wait_before_try;
use crate::guards;
use crate::guards::Guard;
use crate::ids::DeliveryId;
use crate::ids::Moment;
use crate::ids::NoticeId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::deliveries;
use crate::store::deliveries::Delivery;
use crate::store::deliveries::DeliveryState;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::link_addresses;
use crate::store::notices;
use crate::store::notices::Notice;
use crate::store::notices::NoticeKind;
use crate::store::notices::NoticeState;
use crate::store::notices::Recipient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::words::Language;
use crate::words::notices::notice as words_of;

pub use by_hand::address_again;
pub use by_hand::not_needed;
pub use by_hand::send_again;
pub(in crate::care) use told_back::Refusals;
pub use told_back::ToldBack;
pub use told_back::What;
pub use told_back::hear;
pub use told_back::refuse;

/// After so many tries a delivery is given up. With the waits between them that is about an hour.
const MOST_TRIES: i64 = 12;
/// After so many tries on one channel the next one is used as well.
const SWITCH_AFTER_TRIES: i64 = 2;
/// A letter to a colleague waits so long for others that say the same.
const GATHERED_FOR: SignedDuration = SignedDuration::from_secs(2);

/// What the outbox must know of the outside.
#[derive(Clone, Debug)]
pub struct Outside {
    /// Such as `https://wounds.example`, without a slash at the end.
    pub public_url: String,
    /// By what people can be reached, as set up.
    pub channels: Vec<Reached>,
}

/// Finds out whom a notice goes to and queues a delivery to each.
pub(in crate::care) async fn address(
    desk: &Desk,
    job: &Job,
    outside: &Outside,
    moment: &Moment,
) -> Done<Worked> {
    let mut tx = desk.db.write().await?;
    let id = job.about.parse().map_err(|_| CareError::NotFound)?;
    let notice = notices::find(&mut tx, job.practice, id).await?.ok_or(CareError::NotFound)?;
    let practice = practices::find(&mut tx, job.practice).await?.ok_or(CareError::NotFound)?;
    if let Some(morning) = quiet_until(&practice.zone, moment.now)
        && can_wait(&mut tx, &notice).await?
    {
        if !jobs::put_off(&mut tx, job, morning, "").await? {
            return Ok(Worked::InOtherHands);
        }
        tx.commit().await?;
        return Ok(Worked::PutOff);
    }
    if notice.state == NoticeState::Waiting {
        let mut reached = 0;
        for reader in readers(&mut tx, &notice, outside, moment.now).await? {
            let wanted = match how_many(notice.kind) {
                Places::First => 1,
                Places::All => reader.places.len(),
            };
            for place in reader.places.iter().take(wanted).chain(&reader.beside) {
                deliver(&mut tx, &notice, &practice, reader.language, place, outside, moment).await?;
                reached += 1;
            }
        }
        let state = if reached > 0 { NoticeState::Addressed } else { NoticeState::Nobody };
        notices::set_state(&mut tx, job.practice, notice.id, state, moment.now).await?;
        if reached == 0 {
            unsent(&mut tx, &notice, moment).await?;
        }
    }
    if !jobs::end(&mut tx, job, moment.now).await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(Worked::Done)
}

/// The letter a job is to send. `None`: it went with another one, or was given up; the job is ended.
pub async fn letter(desk: &Desk, job: &Job, moment: &Moment) -> Done<Option<Delivery>> {
    let id: DeliveryId = job.about.parse().map_err(|_| CareError::NotFound)?;
    let found = deliveries::find(&mut *desk.db.read().await?, job.practice, id).await?;
    match found.filter(|delivery| delivery.state == DeliveryState::Waiting) {
        Some(delivery) => Ok(Some(delivery)),
        None => {
            let mut tx = desk.db.write().await?;
            jobs::end(&mut tx, job, moment.now).await?;
            tx.commit().await?;
            Ok(None)
        }
    }
}

/// The outside took it: it, and whatever says the same to the same address, is sent.
pub async fn sent(
    desk: &Desk,
    job: &Job,
    delivery: &Delivery,
    provider_id: Option<&str>,
    moment: &Moment,
) -> Done<Worked> {
    let mut tx = desk.db.write().await?;
    deliveries::note_sent(&mut tx, delivery, None, provider_id, moment.now).await?;
    for other in deliveries::same_letter(&mut tx, delivery).await? {
        let about = other.id.to_string();
        // One that another runner has in hand goes by itself.
        if jobs::end_others(&mut tx, job.practice, JobKind::SendLetter, &about, moment.now).await? {
            deliveries::note_sent(&mut tx, &other, Some(delivery.id), provider_id, moment.now).await?;
        }
    }
    if !jobs::end(&mut tx, job, moment.now).await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    Ok(Worked::Done)
}

/// What a refusal means for the letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Worth another try, not before so long.
    Later { after: Option<SignedDuration> },
    /// Never this way.
    Never,
    /// The address itself is no more.
    Gone,
}

/// The outside did not take it: tried again later, by another channel as well after the second time, and given up with an
/// alarm when it never goes.
pub async fn refused(
    desk: &Desk,
    job: &Job,
    delivery: &Delivery,
    refusal: Refusal,
    why: &str,
    outside: &Outside,
    moment: &Moment,
) -> Done<Worked> {
    let mut tx = desk.db.write().await?;
    let tries = delivery.tries + 1;
    let given_up = match refusal {
        Refusal::Never | Refusal::Gone => true,
        Refusal::Later { .. } => tries >= MOST_TRIES,
    };
    if refusal == Refusal::Gone {
        forget(&mut tx, delivery, moment).await?;
    }
    let state = if given_up { DeliveryState::Dead } else { DeliveryState::Waiting };
    deliveries::note_refused(&mut tx, delivery, state, why).await?;
    let is_switched = tries == SWITCH_AFTER_TRIES && guards::stands(Guard::AnotherWay);
    if given_up || is_switched {
        let next = another_way(&mut tx, delivery, outside, moment).await?;
        if given_up {
            // That a browser forgot us is everyday; it is a matter only where it was the last way.
            let is_matter = refusal != Refusal::Gone || next == Next::Nowhere;
            bury(&mut tx, delivery, next, is_matter, tries, moment).await?;
        }
    }
    let kept = if given_up {
        jobs::give_up(&mut tx, job, why, moment.now).await?
    } else {
        let asked = match refusal {
            Refusal::Later { after } => after.unwrap_or(SignedDuration::ZERO),
            Refusal::Never | Refusal::Gone => SignedDuration::ZERO,
        };
        let wait = wait_before_try(tries, moment).max(asked);
        jobs::put_off(&mut tx, job, moment.now + wait, why).await?
    };
    if !kept {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(if given_up { Worked::GaveUp } else { Worked::PutOff })
}

/// Whether there was another address to try.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Next {
    /// A delivery to it is queued.
    Queued,
    /// One that was queued before still waits, or arrived.
    OnItsWay,
    Nowhere,
}

/// Queues a delivery to the next address of whoever the notice is for that was not used yet.
async fn another_way(conn: &mut Conn, delivery: &Delivery, outside: &Outside, moment: &Moment) -> Done<Next> {
    let notice = notices::find(conn, delivery.practice, delivery.notice).await?.ok_or(CareError::NotFound)?;
    // A test is of one address.
    if notice.kind == NoticeKind::TestLetter {
        return Ok(Next::Nowhere);
    }
    let practice = practices::find(conn, delivery.practice).await?.ok_or(CareError::NotFound)?;
    let used = deliveries::of_notice(conn, delivery.practice, delivery.notice).await?;
    for reader in readers(conn, &notice, outside, moment.now).await? {
        let is_theirs = |one: &Delivery| reader.was.iter().any(|place| place.is_of(one));
        if !is_theirs(delivery) {
            continue;
        }
        let is_used = |place: &Place| used.iter().any(|one| place.is_of(one));
        if let Some(place) = reader.places.iter().find(|place| !is_used(place)) {
            deliver(conn, &notice, &practice, reader.language, place, outside, moment).await?;
            return Ok(Next::Queued);
        }
        let lives = |one: &Delivery| one.state != DeliveryState::Dead && one.id != delivery.id;
        if used.iter().any(|one| is_theirs(one) && lives(one)) {
            return Ok(Next::OnItsWay);
        }
    }
    Ok(Next::Nowhere)
}

/// An address that is no more is taken off whoever had it.
async fn forget(conn: &mut Conn, delivery: &Delivery, moment: &Moment) -> Done<()> {
    let (practice, channel) = (delivery.practice, delivery.channel);
    let staff = addresses::remove_gone(conn, practice, channel, &delivery.address).await?;
    let links = link_addresses::remove_gone(conn, practice, &delivery.address).await?;
    let whose =
        staff.iter().map(|id| format!("staff:{id}")).chain(links.iter().map(|id| format!("link:{id}")));
    for subject in whose.collect::<Vec<_>>() {
        let detail = format!("channel={}", channel.code());
        record::note(conn, practice, Actor::Program, "address.gone", &subject, &detail, moment.now).await?;
    }
    Ok(())
}

/// A letter that will not go: a thing for a person, and where it was a patient's last way, a call.
async fn bury(
    conn: &mut Conn,
    delivery: &Delivery,
    next: Next,
    is_matter: bool,
    tries: i64,
    moment: &Moment,
) -> Done<()> {
    let (practice, subject) = (delivery.practice, format!("delivery:{}", delivery.id));
    if is_matter {
        raise_unsent(conn, practice, delivery.notice, &subject, moment).await?;
    }
    if next == Next::Nowhere {
        let notice = notices::find(conn, practice, delivery.notice).await?.ok_or(CareError::NotFound)?;
        call_instead(conn, &notice, moment).await?;
    }
    let other = match next {
        Next::Queued => "queued",
        Next::OnItsWay => "on_its_way",
        Next::Nowhere => "none",
    };
    let detail = format!("channel={} tries={tries} another_way={other}", delivery.channel.code());
    Ok(record::note(conn, practice, Actor::Program, "letter.dead", &subject, &detail, moment.now).await?)
}

async fn deliver(
    conn: &mut Conn,
    notice: &Notice,
    practice: &Practice,
    language: Language,
    place: &Place,
    outside: &Outside,
    moment: &Moment,
) -> Done<()> {
    let link = format!("{}{}", outside.public_url, page_of(notice));
    let said = words_of(words(notice.kind), language, &link, &practice.phone, &practice.emergency_number);
    let delivery = Delivery {
        id: DeliveryId::mint(moment),
        practice: notice.practice,
        notice: notice.id,
        channel: place.channel,
        address: place.address.clone(),
        language,
        subject: said.subject,
        body: match place.channel {
            Reached::Voice => said.spoken,
            Reached::Sms | Reached::Email | Reached::Push => said.body,
        },
        state: DeliveryState::Waiting,
        tries: 0,
        sent_with: None,
        provider_id: None,
        why: String::new(),
        queued: moment.now,
        sent: None,
        delivered: None,
    };
    if deliveries::insert(conn, &delivery).await? {
        let due = moment.now + gathering(notice.recipient);
        queue_sending(conn, &delivery, "", due, moment).await?;
    }
    Ok(())
}

/// An alarm that a letter failed; where the letter told of an alarm, that one is open and goes on being told.
async fn raise_unsent(
    conn: &mut Conn,
    practice: PracticeId,
    notice: NoticeId,
    subject: &str,
    moment: &Moment,
) -> Done<()> {
    let tells_of_alarm =
        notices::find(conn, practice, notice).await?.is_some_and(|notice| notice.kind == NoticeKind::Alarm);
    if !tells_of_alarm {
        alarms::raise(conn, practice, AlarmKind::LetterFailed, subject, moment).await?;
    }
    Ok(())
}

/// Queues the sending of a delivery. `again` tells one sending from those before it; empty: the first.
async fn queue_sending(
    conn: &mut Conn,
    delivery: &Delivery,
    again: &str,
    due: Timestamp,
    moment: &Moment,
) -> Done<()> {
    let about = delivery.id.to_string();
    let once_key = format!("delivery:{about}{again}");
    let (practice, kind) = (delivery.practice, JobKind::SendLetter);
    let sending = Queueing { practice, kind, about: &about, once_key: &once_key, due };
    jobs::enqueue(conn, sending, moment).await?;
    Ok(())
}

/// There is nobody to write to: somebody rings, or sees to it.
async fn unsent(conn: &mut Conn, notice: &Notice, moment: &Moment) -> Done<()> {
    let subject = format!("notice:{}", notice.id);
    let instead = call_instead(conn, notice, moment).await?;
    match instead {
        Instead::Call => {}
        Instead::Nothing => {
            raise_unsent(conn, notice.practice, notice.id, &subject, moment).await?;
        }
    }
    let detail = format!("kind={} instead={}", notice.kind.code(), instead.code());
    let action = "notice.nobody";
    Ok(record::note(conn, notice.practice, Actor::Program, action, &subject, &detail, moment.now).await?)
}

/// What comes to a colleague within moments goes in one letter.
fn gathering(recipient: Recipient) -> SignedDuration {
    match recipient {
        Recipient::Staff(_) | Recipient::Office => GATHERED_FOR,
        Recipient::Link(_) => SignedDuration::ZERO,
    }
}
