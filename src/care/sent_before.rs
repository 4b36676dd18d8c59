//! What was sent before: the receipt under a form's key, and the answers of the check before this one.

use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::record;
use crate::care::record::Actor;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::triage::Answers;

/// What was answered in the wound's check before the one with this form key; `None`: there was none. Behind the PIN
/// like what a surgeon wrote: the answers tell as much about the patient, and the link alone may lie open on a shared
/// phone.
pub async fn answers_before(
    desk: &Desk,
    holder: &LinkHolder,
    form_key: &str,
    now: Timestamp,
) -> Done<Option<Answers>> {
    if !holder.may_read {
        return Ok(None);
    }
    let found = checks::of_wound(&mut *desk.db.read().await?, holder.practice, holder.wound).await?;
    let is_this = |check: &WoundCheck| check.link == holder.link && check.form_key == form_key;
    let Some(before) = found.into_iter().find(|check| !is_this(check)) else { return Ok(None) };
    let mut tx = desk.db.write().await?;
    let subject = format!("check:{}", before.id);
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "answers.view", &subject, "", now)
        .await?;
    tx.commit().await?;
    Ok(Some(before.answers))
}

/// The receipt of the check this link sent under a form key; `None`: none was sent yet.
pub async fn sent_as(desk: &Desk, holder: &LinkHolder, form_key: &str) -> Done<Option<String>> {
    let check = checks::by_form_key(&mut *desk.db.read().await?, holder.link, form_key).await?;
    Ok(check.map(|check| check.receipt))
}
