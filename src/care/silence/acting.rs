//! What people do about a silence: they ring and say how it went, send the letter, ask the surgeon, who decides, or end
//! it with a reason.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::ladder;
use crate::care::plan as care_plan;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::silence::about;
use crate::care::silence::may_see;
use crate::care::silence::noticing::ask;
use crate::care::silence::noticing::own_link;
use crate::care::silence::set_next;
use crate::care::silence::step_of;
use crate::ids::Moment;
use crate::ids::SilenceCallId;
use crate::ids::SilenceId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Tx;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::plan;
use crate::store::practices;
use crate::store::reviews;
use crate::store::reviews::ComeInAnswer;
use crate::store::silences;
use crate::store::silences::Beginning;
use crate::store::silences::Ending;
use crate::store::silences::Interpreter;
use crate::store::silences::Silence;
use crate::store::silences::SilenceCall;
use crate::store::silences::SilenceEnd;
use crate::store::silences::SilenceState;
use crate::store::staff::StaffMember;
use crate::store::thread;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::CallResult;
use crate::triage::LadderKind;
use crate::triage::SilenceKind;
use crate::triage::SilenceStep;
use crate::triage::Whom;

/// From sending somebody to the emergency department to asking whether they arrived (ours, no source).
const ARRIVES_WITHIN: SignedDuration = SignedDuration::from_hours(2);
const LONGEST_NOTE: usize = 1_000;
/// What was agreed cannot lie further ahead.
const LONGEST_WAIT: SignedDuration = SignedDuration::from_hours(24 * 7);

coded! {
    /// What a call came to, once somebody was spoken with.
    pub enum Said {
        /// They will do it, or send it.
        WillDo = "will_do",
        /// It was done, or was settled on the phone.
        Done = "done",
        /// The surgeon must hear of it.
        AsksSurgeon = "asks_surgeon",
        /// They are at the emergency department, or go there.
        Emergency = "emergency",
    }
}

/// What the caller logs.
#[derive(Clone, Debug)]
pub struct Calling {
    pub whom: Whom,
    pub result: CallResult,
    /// Who spoke; empty: the one who was rung.
    pub spoke_with: String,
    pub interpreter: Interpreter,
    pub note: String,
    /// `None`: nobody was spoken with.
    pub said: Option<Said>,
    /// Until when it was agreed to wait; `None`: as long as is usual.
    pub wait_until: Option<Timestamp>,
}

/// How long is waited after somebody said that they will do it.
fn usual_wait(kind: SilenceKind) -> SignedDuration {
    match kind {
        SilenceKind::Arrival => SignedDuration::from_hours(1),
        SilenceKind::Strip => SignedDuration::from_hours(6),
        SilenceKind::ComeIn => SignedDuration::from_hours(4),
        SilenceKind::Visit | SilenceKind::Reply | SilenceKind::Check | SilenceKind::Culture => {
            SignedDuration::from_hours(24)
        }
    }
}

/// Notes a call. What nobody answered leads to the next step; who was spoken with is waited for, but never without end.
pub async fn log_call(
    desk: &Desk,
    member: &StaffMember,
    id: SilenceId,
    calling: Calling,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let (mut silence, wound) = open(&mut tx, member, id).await?;
    let patient =
        patients::find(&mut tx, member.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let faults = faults(&silence, &calling, patient.helper_phone.is_some(), moment.now);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let spoke_with = match (calling.result, calling.spoke_with.trim(), calling.whom) {
        (CallResult::Spoke, "", Whom::Patient) => patient.name.clone(),
        (CallResult::Spoke, "", Whom::SecondContact) => patient.helper_name.clone().unwrap_or_default(),
        (CallResult::Spoke, typed, _) => typed.to_owned(),
        (CallResult::NoAnswer | CallResult::MessageLeft, _, _) => String::new(),
    };
    let call = SilenceCall {
        id: SilenceCallId::mint(moment),
        practice: member.practice,
        silence: id,
        staff: member.id,
        whom: calling.whom,
        result: calling.result,
        spoke_with: spoke_with.into(),
        interpreter: calling.interpreter,
        note: calling.note.trim().into(),
        at: moment.now,
    };
    silences::insert_call(&mut tx, &call).await?;
    stop_asking(&mut tx, member, &silence, moment.now).await?;
    let said = calling.said.filter(|_| calling.result == CallResult::Spoke);
    let detail = format!(
        "whom={} result={} said={}",
        call.whom.code(),
        call.result.code(),
        said.map_or("nothing", Said::code)
    );
    note(&mut tx, member, "silence.call", id, &detail, moment.now).await?;
    match said {
        None => {
            if call.result == CallResult::NoAnswer
                && call.whom == Whom::Patient
                && let Some(link) = own_link(&mut tx, member.practice, wound.id, moment.now).await?
            {
                let missed = format!("call:{}", call.id);
                let to = Recipient::Link(link);
                notices::enqueue(&mut tx, member.practice, NoticeKind::CallMissed, to, &missed, moment)
                    .await?;
            }
        }
        Some(Said::WillDo) => {
            silence.spoke = Some(moment.now);
            silence.waits_until = Some(calling.wait_until.unwrap_or(moment.now + usual_wait(silence.kind)));
        }
        Some(Said::Done) => {
            settle(&mut tx, member, &silence, &wound, moment).await?;
            finish(&mut tx, member, &silence, SilenceEnd::Told, &call.note, moment.now).await?;
        }
        Some(Said::AsksSurgeon) => {
            silence.spoke = Some(moment.now);
            silence.waits_until = Some(moment.now + usual_wait(silence.kind));
            ask_in(&mut tx, &mut silence, &wound, &call.note, moment).await?;
        }
        Some(Said::Emergency) => {
            finish(&mut tx, member, &silence, SilenceEnd::Told, &call.note, moment.now).await?;
            await_arrival(&mut tx, member, wound.id, &about(id), moment).await?;
        }
    }
    let practice = practices::find(&mut tx, member.practice).await?.ok_or(CareError::NotFound)?;
    set_next(&mut tx, &practice, &mut silence, &patient).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

fn faults(silence: &Silence, calling: &Calling, has_second: bool, now: Timestamp) -> Vec<Fault> {
    let mut faults = Vec::new();
    if calling.note.chars().count() > LONGEST_NOTE {
        faults.push(Fault::new("note", "Shorten the note to 1,000 characters."));
    }
    if calling.whom == Whom::SecondContact && !has_second {
        faults.push(Fault::new("whom", "No second contact is named for this patient."));
    }
    if calling.result != CallResult::Spoke {
        return faults;
    }
    match (calling.said, silence.kind) {
        (None, _) => faults.push(Fault::new("said", "Choose what the call came to.")),
        (Some(Said::Done), SilenceKind::Check) => faults.push(Fault::new(
            "said",
            "A check cannot be taken on the phone. Ask them to send it now, or tell the surgeon what they said.",
        )),
        (Some(Said::Done), SilenceKind::Culture) => {
            faults.push(Fault::new("said", "Enter the result on the patient's page; this then ends by itself."));
        }
        (Some(Said::AsksSurgeon), _) if calling.note.trim().is_empty() => {
            faults.push(Fault::new("note", "Say in a few words what the surgeon must hear."));
        }
        (Some(_), _) => {}
    }
    match calling.wait_until {
        Some(until) if until <= now => {
            faults.push(Fault::new("wait_until", "That time has passed. Choose a later one."));
        }
        Some(until) if until.duration_since(now) > LONGEST_WAIT => {
            faults.push(Fault::new(
                "wait_until",
                "Wait no longer than a week. Pause the plan if that is meant.",
            ));
        }
        Some(_) | None => {}
    }
    faults
}

/// What was due is noted as told on the phone.
async fn settle(
    tx: &mut Tx,
    member: &StaffMember,
    silence: &Silence,
    wound: &Wound,
    moment: &Moment,
) -> Done<()> {
    match silence.kind {
        SilenceKind::Strip => care_plan::note_strip_out(tx, wound, moment.now).await?,
        SilenceKind::Visit => {
            if let Some(step) = step_of(tx, silence).await? {
                plan::note_done(tx, member.practice, step.id, moment.now).await?;
            }
        }
        SilenceKind::ComeIn => {
            if let Some(id) = silence.about.strip_prefix("review:").and_then(|id| id.parse().ok()) {
                reviews::answer_come_in(tx, member.practice, id, ComeInAnswer::WillCome, moment.now).await?;
            }
        }
        SilenceKind::Reply => {
            if let Some(id) = silence.about.strip_prefix("message:").and_then(|id| id.parse().ok()) {
                thread::note_read(tx, member.practice, wound.id, id, moment.now).await?;
            }
        }
        SilenceKind::Arrival | SilenceKind::Check | SilenceKind::Culture => {}
    }
    Ok(())
}

/// Somebody goes to the emergency department: word that they arrived is due.
pub(in crate::care) async fn await_arrival(
    conn: &mut Conn,
    member: &StaffMember,
    wound: WoundId,
    sent_by: &str,
    moment: &Moment,
) -> Done<()> {
    let since = moment.now + ARRIVES_WITHIN;
    let beginning = Beginning {
        practice: member.practice,
        wound,
        kind: SilenceKind::Arrival,
        about: sent_by,
        since,
        next: (SilenceStep::Call, since),
        by: since + SilenceKind::Arrival.step_within(),
    };
    if let Some(id) = silences::begin(conn, beginning, moment).await? {
        note(conn, member, "silence.begin", id, "kind=arrival", moment.now).await?;
    }
    Ok(())
}

/// The letter was printed and sent.
pub async fn note_letter(desk: &Desk, member: &StaffMember, id: SilenceId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let (mut silence, wound) = open(&mut tx, member, id).await?;
    if silence.letter.is_some() {
        return Err(CareError::AlreadyDone);
    }
    silence.letter = Some(now);
    stop_asking(&mut tx, member, &silence, now).await?;
    let patient =
        patients::find(&mut tx, member.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let practice = practices::find(&mut tx, member.practice).await?.ok_or(CareError::NotFound)?;
    set_next(&mut tx, &practice, &mut silence, &patient).await?;
    note(&mut tx, member, "silence.letter", id, "", now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// The office asks the surgeon what is to be done.
pub async fn ask_surgeon(
    desk: &Desk,
    member: &StaffMember,
    id: SilenceId,
    words: &str,
    moment: &Moment,
) -> Done<()> {
    if words.trim().is_empty() {
        return Err(CareError::Entered(vec![Fault::new(
            "ask",
            "Say in a few words what the surgeon must hear.",
        )]));
    }
    let mut tx = desk.db.write().await?;
    let (mut silence, wound) = open(&mut tx, member, id).await?;
    ask_in(&mut tx, &mut silence, &wound, words.trim(), moment).await?;
    note(&mut tx, member, "silence.ask", id, "", moment.now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

async fn ask_in(
    conn: &mut Conn,
    silence: &mut Silence,
    wound: &Wound,
    words: &str,
    moment: &Moment,
) -> Done<()> {
    silence.asked = Some(moment.now);
    silence.asked_note = words.into();
    silence.decided_note = FreeText::default();
    silence.decided_by = None;
    silences::keep(conn, silence).await?;
    // Whoever was sent to the emergency department and is not there is looked for at once.
    if silence.kind == SilenceKind::Arrival {
        ladder::begin(conn, silence.practice, &about(silence.id), LadderKind::RingNow, moment).await?;
    }
    ask(conn, silence, wound, moment).await
}

/// The surgeon says what is to be done. The office is told, and goes on from there.
pub async fn decide(
    desk: &Desk,
    surgeon: &StaffMember,
    id: SilenceId,
    words: &str,
    moment: &Moment,
) -> Done<()> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let words = words.trim();
    if words.is_empty() || words.chars().count() > LONGEST_NOTE {
        let fault = Fault::new("decision", "Say what is to be done, in at most 1,000 characters.");
        return Err(CareError::Entered(vec![fault]));
    }
    let mut tx = desk.db.write().await?;
    let (mut silence, _) = open(&mut tx, surgeon, id).await?;
    silence.decided_note = words.into();
    silence.decided_by = Some(surgeon.id);
    (silence.next, silence.next_from) = (SilenceStep::Call, moment.now);
    silence.by = moment.now + silence.kind.step_within();
    silences::keep(&mut tx, &silence).await?;
    stop_asking(&mut tx, surgeon, &silence, moment.now).await?;
    alarms::end(&mut tx, surgeon.practice, AlarmKind::SurgeonAsked, &about(id), moment.now).await?;
    let told = format!("{} decided:{}", about(id), moment.now.as_millisecond());
    notices::enqueue(&mut tx, surgeon.practice, NoticeKind::CallToMake, Recipient::Office, &told, moment)
        .await?;
    note(&mut tx, surgeon, "silence.decide", id, "", moment.now).await?;
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(())
}

/// A person ends a silence and says why. A strip that is still in, and a patient who did not arrive, are a surgeon's to
/// end.
pub async fn end(desk: &Desk, member: &StaffMember, id: SilenceId, why: &str, moment: &Moment) -> Done<()> {
    let why = why.trim();
    if why.is_empty() || why.chars().count() > LONGEST_NOTE {
        let fault = Fault::new("why", "Say why nobody needs to wait any more, in at most 1,000 characters.");
        return Err(CareError::Entered(vec![fault]));
    }
    let mut tx = desk.db.write().await?;
    let (silence, _) = open(&mut tx, member, id).await?;
    let is_surgeons = matches!(silence.kind, SilenceKind::Strip | SilenceKind::Arrival);
    if is_surgeons && !member.roles.surgeon {
        let fault = Fault::new("why", "Only a surgeon ends this. Ask the surgeon what is to be done.");
        return Err(CareError::Entered(vec![fault]));
    }
    stop_asking(&mut tx, member, &silence, moment.now).await?;
    finish(&mut tx, member, &silence, SilenceEnd::ByHand, why, moment.now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

async fn finish(
    conn: &mut Conn,
    member: &StaffMember,
    silence: &Silence,
    why: SilenceEnd,
    words: &str,
    now: Timestamp,
) -> Done<()> {
    let ending = Ending { why, note: words, by: Some(member.id), at: now };
    if !silences::end(conn, member.practice, silence.id, ending).await? {
        return Err(CareError::AlreadyDone);
    }
    alarms::end(conn, member.practice, AlarmKind::SurgeonAsked, &about(silence.id), now).await?;
    note(conn, member, "silence.end", silence.id, &format!("why={}", why.code()), now).await
}

/// The silence, its wound held; refused when it has ended.
async fn open(conn: &mut Conn, member: &StaffMember, id: SilenceId) -> Done<(Silence, Wound)> {
    may_see(member)?;
    let seen = silences::find(conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::hold(conn, member.practice, seen.wound).await?.ok_or(CareError::NotFound)?;
    let silence = silences::find(conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    match silence.state {
        SilenceState::Open => Ok((silence, wound)),
        SilenceState::Ended => Err(CareError::AlreadyDone),
    }
}

/// A person acts: the ladder stops, and the step is no longer late.
async fn stop_asking(conn: &mut Conn, member: &StaffMember, silence: &Silence, now: Timestamp) -> Done<()> {
    ladder::stop(conn, member, &about(silence.id), now).await?;
    // Somebody is there and acts.
    for kind in [AlarmKind::Overdue, AlarmKind::NobodyToTell] {
        alarms::end(conn, member.practice, kind, &about(silence.id), now).await?;
    }
    Ok(())
}

async fn note(
    conn: &mut Conn,
    member: &StaffMember,
    action: &str,
    id: SilenceId,
    detail: &str,
    now: Timestamp,
) -> Done<()> {
    let actor = Actor::Staff(member.id);
    Ok(record::note(conn, member.practice, actor, action, &about(id), detail, now).await?)
}
