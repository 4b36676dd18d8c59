//! What a provider tells afterwards: that a letter arrived, or did not, and that a person wants no more of them.
//!
//! Everything here is harmless when told twice. "Arrived" is noted and stops nothing: a person does.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::outbox::Next;
use crate::care::outbox::Outside;
use crate::care::outbox::another_way;
use crate::care::outbox::bury;
use crate::care::outbox::queue_sending;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::JobId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::deliveries;
use crate::store::deliveries::Delivery;
use crate::store::deliveries::DeliveryState;
use crate::store::patients;
use crate::store::practices;

/// A letter that was taken and did not arrive is sent the same way so often, where there is no other (ours).
const MOST_FAILURES: i64 = 3;
/// Before it is sent the same way again: what failed a moment ago fails again (ours).
const AGAIN_AFTER: SignedDuration = SignedDuration::from_mins(2);
/// STOP is for texts and for calls by a machine: whoever answers it wants neither.
const STOPPED: [Reached; 2] = [Reached::Sms, Reached::Voice];
/// Refused calls are put in the record together, at most once in so long: anybody may knock at this door.
const NOTED_EVERY: SignedDuration = SignedDuration::from_mins(1);

/// What became of a letter, or what its reader wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    Delivered,
    Failed,
    /// STOP.
    OptedOut,
    /// START.
    OptedIn,
}

/// One call of a provider, believed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToldBack {
    /// The letter's reference, which is the delivery's id.
    pub reference: Option<String>,
    pub what: What,
    /// The provider's word for it.
    pub why: Option<String>,
    /// Who answered STOP or START.
    pub from: Option<String>,
}

/// Acts on what a provider told. Of a letter that nobody here knows, nothing comes.
pub async fn hear(desk: &Desk, told: &ToldBack, outside: &Outside, moment: &Moment) -> Done<()> {
    let found = match told.reference.as_deref().and_then(|id| id.parse().ok()) {
        Some(id) => {
            let mut conn = desk.db.read().await?;
            let mut found: Option<Delivery> = None;
            for practice in practices::all(&mut conn).await? {
                found = found.or(deliveries::find(&mut conn, practice.id, id).await?);
            }
            found
        }
        None => None,
    };
    match told.what {
        What::Delivered => match found {
            Some(delivery) => delivered(desk, &delivery, moment).await,
            None => Ok(()),
        },
        What::Failed => match found {
            Some(delivery) => failed(desk, &delivery, told.why.as_deref(), outside, moment).await,
            None => Ok(()),
        },
        What::OptedOut | What::OptedIn => {
            let by_letter = found.filter(|delivery| STOPPED.contains(&delivery.channel));
            match told.from.clone().or(by_letter.map(|delivery| delivery.address)) {
                Some(number) => wants(desk, told.what, &number, moment).await,
                None => Ok(()),
            }
        }
    }
}

async fn delivered(desk: &Desk, delivery: &Delivery, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    for one in letter(&mut tx, delivery).await? {
        if deliveries::note_delivered(&mut tx, one.practice, one.id, moment.now).await? {
            let (subject, detail) =
                (format!("delivery:{}", one.id), format!("channel={}", one.channel.code()));
            let action = "letter.delivered";
            record::note(&mut tx, one.practice, Actor::Program, action, &subject, &detail, moment.now)
                .await?;
        }
    }
    tx.commit().await?;
    desk.tell(delivery.practice);
    Ok(())
}

async fn failed(
    desk: &Desk,
    delivery: &Delivery,
    why: Option<&str>,
    outside: &Outside,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let why = match why {
        Some(why) => format!("the provider says that it did not arrive: {why}"),
        None => "the provider says that it did not arrive".to_owned(),
    };
    for one in letter(&mut tx, delivery).await? {
        // First the note, which only one of two calls at once gets through with.
        if !deliveries::note_failed(&mut tx, &one, DeliveryState::Dead, &why).await? {
            continue;
        }
        let next = another_way(&mut tx, &one, outside, moment).await?;
        if next == Next::Nowhere && one.tries < MOST_FAILURES {
            deliveries::wait_again(&mut tx, one.practice, one.id).await?;
            let again = format!(":{}", JobId::mint(moment));
            queue_sending(&mut tx, &one, &again, moment.now + AGAIN_AFTER, moment).await?;
            let (subject, detail) = (
                format!("delivery:{}", one.id),
                format!("channel={} tries={}", one.channel.code(), one.tries),
            );
            let action = "letter.failed";
            record::note(&mut tx, one.practice, Actor::Program, action, &subject, &detail, moment.now)
                .await?;
        } else {
            bury(&mut tx, &one, next, true, one.tries, moment).await?;
        }
    }
    tx.commit().await?;
    desk.tell(delivery.practice);
    Ok(())
}

/// A delivery and whatever went in its letter.
async fn letter(conn: &mut Conn, delivery: &Delivery) -> Done<Vec<Delivery>> {
    let mut all = vec![delivery.clone()];
    all.extend(deliveries::carried_by(conn, delivery.practice, delivery.id).await?);
    Ok(all)
}

/// A number wants no more texts and machine calls, or wants them again: in every practice that knows it, for all of them
/// send from the same number.
async fn wants(desk: &Desk, what: What, number: &str, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let mut told = Vec::new();
    for practice in practices::all(&mut tx).await? {
        let whose = whose(&mut tx, practice.id, number).await?;
        if whose.is_empty() {
            continue;
        }
        let mut is_new = false;
        for channel in STOPPED {
            is_new |= match what {
                What::OptedIn => addresses::opt_in(&mut tx, practice.id, channel, number).await?,
                What::OptedOut | What::Delivered | What::Failed => {
                    let before = addresses::opted_out(&mut tx, practice.id, channel, number).await?;
                    addresses::opt_out(&mut tx, practice.id, channel, number, moment.now).await?;
                    !before
                }
            };
        }
        let action = match what {
            What::OptedIn => "opt_out.end",
            What::OptedOut | What::Delivered | What::Failed => "opt_out.keep",
        };
        for subject in whose.iter().filter(|_| is_new) {
            record::note(&mut tx, practice.id, Actor::Program, action, subject, "", moment.now).await?;
        }
        told.push(practice.id);
    }
    tx.commit().await?;
    for practice in told {
        desk.tell(practice);
    }
    Ok(())
}

/// Whose number it is, as subjects of the record.
async fn whose(conn: &mut Conn, practice: PracticeId, number: &str) -> Done<Vec<String>> {
    let patients = patients::with_number(conn, practice, number).await?;
    let mut whose: Vec<String> = patients.iter().map(|id| format!("patient:{id}")).collect();
    for kept in addresses::of_practice(conn, practice).await? {
        let subject = format!("staff:{}", kept.staff);
        let is_theirs =
            STOPPED.contains(&kept.channel) && addresses::is_same(kept.channel, &kept.address, number);
        if is_theirs && !whose.contains(&subject) {
            whose.push(subject);
        }
    }
    Ok(whose)
}

/// Calls that were not believed since the record last told of them.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::care) struct Refusals {
    count: u64,
    noted: Option<Timestamp>,
}

/// A call at the providers' door was not believed: counted, and told in every practice's record, for it names none.
pub async fn refuse(desk: &Desk, reason: &'static str, now: Timestamp) -> Done<()> {
    let count = {
        let mut refusals = desk.refusals.lock().expect("nobody panics while counting");
        refusals.count += 1;
        let is_soon = |noted: Timestamp| now.duration_since(noted).abs() < NOTED_EVERY;
        if refusals.noted.is_some_and(is_soon) {
            return Ok(());
        }
        refusals.noted = Some(now);
        std::mem::take(&mut refusals.count)
    };
    let mut tx = desk.db.write().await?;
    for practice in practices::all(&mut tx).await? {
        let (subject, detail) =
            (format!("practice:{}", practice.id), format!("reason={reason} refused={count}"));
        record::note(&mut tx, practice.id, Actor::Program, "provider.refuse", &subject, &detail, now).await?;
    }
    Ok(tx.commit().await?)
}
