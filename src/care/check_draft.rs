//! A wound check filled in step by step: what was typed waits here between the steps, on the phone that typed it.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets::sha256_hex;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::check_drafts;
use crate::store::check_drafts::Draft;
use crate::store::checks;
use crate::store::keepings;
use crate::store::legal_holds;
use crate::store::practices;
use crate::store::wounds;

/// What was typed is not gone on with for longer: the wound has changed.
const DRAFT_LIMIT: SignedDuration = SignedDuration::from_hours(3 * 24);

/// One step as posted.
#[derive(Clone, Debug)]
pub struct StepTyped<'a> {
    pub form_key: &'a str,
    /// The step's code, for the record.
    pub step: &'a str,
    /// The form fields this step asks for: what is kept of them is replaced.
    pub names: &'a [&'a str],
    pub fields: Vec<(String, String)>,
    /// Ids of the questions the step showed.
    pub shown: Vec<String>,
}

/// How keeping a step ended.
#[derive(Clone, Debug)]
pub enum Kept {
    /// Everything typed so far.
    Draft(Draft),
    /// The check was sent before, under this receipt: nothing more is kept.
    SentBefore(String),
}

/// What this phone typed and has not sent: the form with this key, or the newest when there is none of that key.
/// `None`: nothing, or it is too old to go on with.
pub async fn unfinished(
    desk: &Desk,
    holder: &LinkHolder,
    token: &str,
    form_key: &str,
    now: Timestamp,
) -> Done<Option<Draft>> {
    let phone = sha256_hex(token);
    let since = now - DRAFT_LIMIT;
    let mut conn = desk.db.read().await?;
    let named = check_drafts::find(&mut conn, holder.practice, holder.link, form_key).await?;
    match named.filter(|draft| draft.phone_sha256 == phone && draft.updated >= since) {
        Some(draft) => Ok(Some(draft)),
        None => Ok(check_drafts::newest(&mut conn, holder.practice, holder.link, &phone, since).await?),
    }
}

/// Keeps one step. It is no check yet: nobody reads it.
pub async fn keep(
    desk: &Desk,
    holder: &LinkHolder,
    token: &str,
    typed: StepTyped<'_>,
    now: Timestamp,
) -> Done<Kept> {
    let phone_sha256 = sha256_hex(token);
    let mut tx = desk.db.write().await?;
    wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    if let Some(check) = checks::by_form_key(&mut tx, holder.link, typed.form_key).await? {
        return Ok(Kept::SentBefore(check.receipt));
    }
    let found = check_drafts::find(&mut tx, holder.practice, holder.link, typed.form_key).await?;
    if found.as_ref().is_some_and(|draft| draft.phone_sha256 != phone_sha256) {
        return Err(CareError::NotFound);
    }
    if found.is_none() {
        forget_left(&mut tx, holder.practice, now).await?;
    }
    let mut draft = found.unwrap_or_else(|| Draft {
        practice: holder.practice,
        link: holder.link,
        phone_sha256,
        form_key: typed.form_key.to_owned(),
        fields: Vec::new(),
        shown: Vec::new(),
        began: now,
        updated: now,
    });
    draft.fields.retain(|(name, _)| !typed.names.contains(&name.as_str()));
    let wanted = typed.fields.into_iter().filter(|(name, _)| typed.names.contains(&name.as_str()));
    draft.fields.extend(wanted);
    for id in typed.shown {
        if !draft.shown.contains(&id) {
            draft.shown.push(id);
        }
    }
    draft.updated = now;
    check_drafts::keep(&mut tx, &draft).await?;
    let subject = format!("link:{}", holder.link);
    let detail = format!("step={}", typed.step);
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "draft.keep", &subject, &detail, now)
        .await?;
    tx.commit().await?;
    Ok(Kept::Draft(draft))
}

/// Deletes what the practice's patients began and left, where nothing says how long it is kept. Nothing goes while a hold stands on
/// anybody. By numbers that a lead confirmed the daily work takes it away, and leaves its stone.
async fn forget_left(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Done<()> {
    practices::hold(conn, practice).await?;
    if keepings::find(conn, practice).await?.is_some()
        || !legal_holds::in_force(conn, practice).await?.is_empty()
    {
        return Ok(());
    }
    Ok(check_drafts::forget_older(conn, practice, now - DRAFT_LIMIT).await?)
}

/// Deletes a draft: the patient begins afresh.
pub async fn forget(desk: &Desk, holder: &LinkHolder, form_key: &str, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    check_drafts::forget(&mut tx, holder.practice, holder.link, form_key).await?;
    let subject = format!("link:{}", holder.link);
    record::note(&mut tx, holder.practice, Actor::Link(holder.link), "draft.forget", &subject, "", now)
        .await?;
    Ok(tx.commit().await?)
}
