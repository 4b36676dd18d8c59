//! Taking the strip out at home: the times of its parts, and what the patient says at the end. "Stuck" and "part of it"
//! become a wound check at once, in the same transaction; "all of it" waits for the next check. Either way it stays the
//! patient's own statement, with its time.

use data_encoding::BASE64URL_NOPAD;
use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::intake;
use crate::care::intake::Receipt;
use crate::care::intake::Sending;
use crate::care::knock;
use crate::care::plan;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::StripAttemptId;
use crate::ids::WoundCheckId;
use crate::plan::CountSays;
use crate::plan::CountedOut;
use crate::plan::OutPress;
use crate::plan::OutTimes;
use crate::plan::count_says;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::checks;
use crate::store::strip_attempts;
use crate::store::strip_attempts::StripAttempt;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::Answers;
use crate::triage::Said;
use crate::triage::StripAnswer;

/// A try that ended nowhere is begun afresh after this long: the pill has worn off.
const TRY_LIMIT: SignedDuration = SignedDuration::from_hours(6);
/// What was said goes into the next check within this long.
const SAID_LIMIT: SignedDuration = SignedDuration::from_hours(24);

/// What the patient pressed at the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutSaying {
    /// With what was counted.
    AllOut(CountedOut),
    PartOut,
    Stuck,
}

/// How a saying was taken.
#[derive(Clone, Debug)]
pub enum Taken {
    /// Noted as out.
    Out,
    /// Sent to the practice as a wound check.
    Sent(Receipt),
}

/// The try this wound is in, or the newest that ended; `None`: none, or an unfinished one that is too old.
pub async fn current(desk: &Desk, holder: &LinkHolder, now: Timestamp) -> Done<Option<StripAttempt>> {
    let found = strip_attempts::newest(&mut *desk.db.read().await?, holder.practice, holder.wound).await?;
    Ok(found.filter(|attempt| is_current(attempt, now)))
}

fn is_current(attempt: &StripAttempt, now: Timestamp) -> bool {
    attempt.said.is_some() || now.duration_since(attempt.began) < TRY_LIMIT
}

/// Goes one part on, or back. The time the part began is kept here, whatever becomes of the phone.
pub async fn press(desk: &Desk, holder: &LinkHolder, press: OutPress, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    // Without a strip there is nothing to take out.
    wound.operation.packing.ok_or(CareError::NotFound)?;
    let mut attempt = unfinished(&mut tx, holder, &wound, moment).await?;
    attempt.times = attempt.times.after(press, moment.now);
    strip_attempts::keep(&mut tx, &attempt).await?;
    let (subject, detail) = (format!("wound:{}", wound.id), format!("press={}", press.code()));
    record::note(
        &mut tx,
        holder.practice,
        Actor::Link(holder.link),
        "strip.part",
        &subject,
        &detail,
        moment.now,
    )
    .await?;
    tx.commit().await?;
    Ok(())
}

/// The unfinished try, or a new one.
async fn unfinished(
    conn: &mut Conn,
    holder: &LinkHolder,
    wound: &Wound,
    moment: &Moment,
) -> Stored<StripAttempt> {
    let found = strip_attempts::newest(conn, holder.practice, wound.id).await?;
    let going_on = found.filter(|attempt| attempt.said.is_none() && is_current(attempt, moment.now));
    Ok(going_on.unwrap_or_else(|| StripAttempt {
        id: StripAttemptId::mint(moment),
        practice: holder.practice,
        wound: wound.id,
        link: holder.link,
        form_key: BASE64URL_NOPAD.encode(&moment.chance.bytes::<16>()),
        began: moment.now,
        times: OutTimes::default(),
        said: None,
        counted: CountedOut::default(),
        check: None,
    }))
}

/// Takes what the patient says. Said twice, it is taken once. A count that differs from what was put in is never taken
/// for "all of it": it goes to the practice as "not sure".
pub async fn say(desk: &Desk, holder: &LinkHolder, saying: OutSaying, moment: &Moment) -> Done<Taken> {
    let mut tx = desk.db.write().await?;
    let wound = wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    knock::must_be_open(&mut tx, holder, moment.now).await?;
    let packing = wound.operation.packing.ok_or(CareError::NotFound)?;
    let (answer, counted) = match saying {
        OutSaying::Stuck => (StripAnswer::Stuck, CountedOut::default()),
        OutSaying::PartOut => (StripAnswer::PartOut, CountedOut::default()),
        OutSaying::AllOut(counted) => match count_says(packing, counted) {
            CountSays::Agrees => (StripAnswer::AllOut, counted),
            CountSays::Differs => (StripAnswer::Unsure, counted),
        },
    };
    let newest = strip_attempts::newest(&mut tx, holder.practice, wound.id).await?;
    if let Some(before) = newest.filter(|before| said_lately(before, answer, counted, moment.now)) {
        return taken_before(&mut tx, &before).await;
    }
    let mut attempt = unfinished(&mut tx, holder, &wound, moment).await?;
    // Whoever speaks sends: the check that comes of it is theirs.
    attempt.link = holder.link;
    (attempt.said, attempt.counted) = (Some((answer, moment.now)), counted);
    strip_attempts::keep(&mut tx, &attempt).await?;
    let (actor, subject) = (Actor::Link(holder.link), format!("wound:{}", wound.id));
    let detail = format!("said={}", answer.code());
    record::note(&mut tx, holder.practice, actor, "strip.say", &subject, &detail, moment.now).await?;
    let taken = match answer {
        StripAnswer::AllOut => {
            plan::note_strip_out(&mut tx, &wound, moment.now).await?;
            Taken::Out
        }
        StripAnswer::NeverHad
        | StripAnswer::FellOut
        | StripAnswer::PartOut
        | StripAnswer::Unsure
        | StripAnswer::StillIn
        | StripAnswer::Stuck => {
            let answers = Answers { strip: Said::Is(answer), ..Answers::default() };
            let sending = Sending { form_key: attempt.form_key.clone(), answers, photos_expected: 0 };
            Taken::Sent(intake::receive_in(desk, &mut tx, holder, sending, Vec::new(), moment).await?)
        }
    };
    tx.commit().await?;
    desk.tell(holder.practice);
    Ok(taken)
}

/// The same button pressed twice, or a page sent again.
fn said_lately(before: &StripAttempt, answer: StripAnswer, counted: CountedOut, now: Timestamp) -> bool {
    before.said.is_some_and(|(said, at)| {
        said == answer && before.counted == counted && now.duration_since(at) < TRY_LIMIT
    })
}

async fn taken_before(conn: &mut Conn, before: &StripAttempt) -> Done<Taken> {
    let Some(check) = before.check else { return Ok(Taken::Out) };
    if before.said.is_some_and(|(said, _)| said == StripAnswer::AllOut) {
        return Ok(Taken::Out);
    }
    let check = checks::find(conn, before.practice, check).await?.ok_or(CareError::NotFound)?;
    Ok(Taken::Sent(intake::receipt(conn, &check).await?))
}

/// What was said about the strip and belongs into the check with this form key: said with it, or lately and not in any
/// check yet. `None`: nothing.
pub async fn said_for(
    desk: &Desk,
    holder: &LinkHolder,
    form_key: &str,
    now: Timestamp,
) -> Done<Option<StripAttempt>> {
    let found = strip_attempts::newest(&mut *desk.db.read().await?, holder.practice, holder.wound).await?;
    Ok(found.filter(|attempt| {
        let same_form = attempt.link == holder.link && attempt.form_key == form_key;
        attempt.said.is_some() && (same_form || waits(attempt, now))
    }))
}

fn waits(attempt: &StripAttempt, now: Timestamp) -> bool {
    attempt.check.is_none() && attempt.said.is_some_and(|(_, at)| now.duration_since(at) < SAID_LIMIT)
}

/// A check comes in: what was said about the strip stands in it unless its form says something itself. Gives the try
/// that is now part of it.
pub(in crate::care) async fn join(
    conn: &mut Conn,
    wound: &Wound,
    check: Option<WoundCheckId>,
    answers: &mut Answers,
    now: Timestamp,
) -> Stored<Option<StripAttempt>> {
    let found = strip_attempts::newest(conn, wound.practice, wound.id).await?;
    let Some(attempt) = found.filter(|one| waits(one, now) || (check.is_some() && one.check == check)) else {
        return Ok(None);
    };
    if let (Some((said, _)), Said::Blank) = (attempt.said, &answers.strip) {
        answers.strip = Said::Is(said);
    }
    Ok(Some(attempt))
}

/// Ties a try to the check it became an answer of.
pub(in crate::care) async fn tie(
    conn: &mut Conn,
    attempt: Option<StripAttempt>,
    check: WoundCheckId,
) -> Stored<()> {
    match attempt {
        Some(attempt) if attempt.check.is_none() => {
            strip_attempts::keep(conn, &StripAttempt { check: Some(check), ..attempt }).await
        }
        Some(_) | None => Ok(()),
    }
}
