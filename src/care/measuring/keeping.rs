//! Keeping a measurement: the row, its line in the record, and the checks that say more by it, in one transaction.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::assessing;
use crate::care::assessing::Again;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::MeasurementId;
use crate::ids::Moment;
use crate::photo::CardIssue;
use crate::store::Conn;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::measurements;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::photos::Photo;
use crate::store::wounds;
use crate::wound::Measurement;

/// Whether a check that was dealt with may come before a surgeon again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dealt {
    /// When it became graver than what the surgeon saw.
    WaitsAgain,
    /// Never: a surgeon draws, or the past is measured anew.
    Stays,
}

/// A measurement with everything its row needs.
pub(super) fn to_keep(
    photo: &Photo,
    check: &WoundCheck,
    author: Author,
    measurement: Measurement,
    moment: &Moment,
) -> KeptMeasurement {
    KeptMeasurement {
        id: MeasurementId::mint(moment),
        practice: photo.practice,
        wound: check.wound,
        check: check.id,
        photo: photo.id,
        author,
        made: moment.now,
        taken: photo.received,
        measurement,
    }
}

/// Keeps a measurement and notes it. False: the program measured this photo so before, and nothing was changed.
pub(super) async fn keep(
    conn: &mut Conn,
    kept: &KeptMeasurement,
    cards: &CardIssue,
    action: &str,
) -> Done<bool> {
    if !measurements::insert(conn, kept, cards).await? {
        return Ok(false);
    }
    let detail = format!(
        "standing={} because={}",
        code(&kept.measurement.standing),
        kept.measurement.because.iter().map(code).collect::<Vec<_>>().join("+")
    );
    let subject = format!("photo:{}", kept.photo);
    let actor = actor(kept.author);
    record::note(conn, kept.practice, actor, action, &subject, &detail, kept.made).await?;
    Ok(true)
}

/// Assesses the measured photo's check again, and the later checks of the wound that wait: what changed since the last
/// photo is one of their facts.
pub(super) async fn reassess(
    desk: &Desk,
    conn: &mut Conn,
    kept: &KeptMeasurement,
    dealt: Dealt,
    moment: &Moment,
) -> Done<()> {
    let wound = wounds::hold(conn, kept.practice, kept.wound).await?.ok_or(CareError::NotFound)?;
    let mut of_wound = checks::of_wound(conn, kept.practice, kept.wound).await?;
    of_wound.sort_by_key(|check| check.sequence);
    let from = of_wound.iter().position(|check| check.id == kept.check).ok_or(CareError::NotFound)?;
    for check in &mut of_wound[from..] {
        let own = check.id == kept.check;
        if check.state != CheckState::Closed || own && dealt == Dealt::WaitsAgain {
            let again = Again::Measured(actor(kept.author));
            assessing::assess_again(desk, conn, &wound, check, again, moment).await?;
        }
    }
    Ok(())
}

fn actor(author: Author) -> Actor {
    match author {
        Author::Program => Actor::Program,
        Author::Staff(id) => Actor::Staff(id),
    }
}

/// The code a value has in JSON.
fn code<T: serde::Serialize>(value: &T) -> String {
    let written = serde_json::to_value(value).unwrap_or_default();
    written.as_str().unwrap_or_default().to_owned()
}
