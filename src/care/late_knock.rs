//! A knock on a closed link is a flag of its own: a person of the practice rings whoever knocked, or says why not.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::LateKnockId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::plan::Operation;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::late_knocks;
use crate::store::late_knocks::Dealt;
use crate::store::late_knocks::LateKnock;
use crate::store::links;
use crate::store::links::PatientLink;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::triage::Urgency;
use crate::triage::names_danger;

/// By when a person sees to a knock, by how urgent it is. Ours: whoever wrote words is rung on the same day, and within the
/// hour where they name a danger, as with a check of that class.
const TRIED_WITHIN: SignedDuration = SignedDuration::from_hours(24);
const WROTE_WITHIN: SignedDuration = SignedDuration::from_hours(8);
const DANGER_WITHIN: SignedDuration = SignedDuration::from_hours(1);
/// Characters of one message, and of all that wait together: nobody fills the books through a closed link.
const LONGEST_WORDS: usize = 1_000;
const LONGEST_ALL: usize = 4_000;
const LONGEST_NOTE: usize = 500;

/// A knock that waits, with whom to ring.
#[derive(Clone, Debug)]
pub struct Knocked {
    pub knock: LateKnock,
    pub link: PatientLink,
    pub patient: Patient,
    pub operation: Operation,
}

/// What ladders, alarms and notices about a knock name.
fn about(id: LateKnockId) -> String {
    format!("late_knock:{id}")
}

/// The knock something is about; `None`: it is about something else.
pub(in crate::care) fn of(about: &str) -> Option<LateKnockId> {
    about.strip_prefix("late_knock:")?.parse().ok()
}

/// Notes a knock on a closed link, with what was typed. Words are taken of a link that has expired; one that was revoked may
/// be in anybody's hands, and brings none. Where those before cannot be opened they stay as they lie there, and what comes
/// now waits beside them.
pub(in crate::care) async fn note(
    conn: &mut Conn,
    link: &PatientLink,
    typed: &str,
    moment: &Moment,
) -> Done<()> {
    let now = moment.now;
    let typed: String = match link.revoked {
        None => typed.trim().chars().take(LONGEST_WORDS).collect(),
        Some(_) => String::new(),
    };
    let class = class_of(&typed);
    let due = now
        + match class {
            Urgency::GoNow | Urgency::RingNow => DANGER_WITHIN,
            Urgency::Today => WROTE_WITHIN,
            Urgency::Tomorrow | Urgency::OnTrack => TRIED_WITHIN,
        };
    // Two at once would each add their words to what stood there before.
    wounds::hold(conn, link.practice, link.wound).await?;
    let mut found = late_knocks::waiting_of(conn, link.practice, link.id).await?;
    if let Some(before) = found.take_if(|before| before.words.read().is_none() && !typed.is_empty()) {
        // They may name a danger: whoever left them is rung as if they did.
        late_knocks::set_apart(conn, before.practice, before.id, before.due.min(now + DANGER_WITHIN)).await?;
    }
    let is_first = found.is_none();
    let mut knock = found.unwrap_or_else(|| LateKnock {
        id: LateKnockId::mint(moment),
        practice: link.practice,
        link: link.id,
        wound: link.wound,
        words: FreeText::default(),
        knocks: 0,
        first: now,
        last: now,
        due,
        dealt: None,
    });
    let has_room = knock.words.chars().count() + typed.chars().count() <= LONGEST_ALL;
    if !typed.is_empty() && has_room {
        let before = if knock.words.is_empty() { String::new() } else { format!("{}\n", knock.words) };
        knock.words = format!("{before}{typed}").into();
    }
    knock.knocks += 1;
    knock.last = now;
    knock.due = knock.due.min(due);
    late_knocks::keep(conn, &knock).await?;
    let (actor, subject) = (Actor::Link(link.id), format!("link:{}", link.id));
    let detail = format!("words={}", typed.chars().count());
    record::note(conn, link.practice, actor, "link.late_knock", &subject, &detail, now).await?;
    if is_first || class == Urgency::RingNow {
        notices::enqueue(
            conn,
            link.practice,
            NoticeKind::LateKnock,
            Recipient::Office,
            &about(knock.id),
            moment,
        )
        .await?;
    }
    Ok(())
}

/// What waits, for whoever rings.
pub async fn waiting(desk: &Desk, member: &StaffMember) -> Done<Vec<Knocked>> {
    if !member.roles.office && !member.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let mut conn = desk.db.read().await?;
    let mut all = Vec::new();
    for knock in late_knocks::waiting(&mut conn, member.practice).await? {
        let link = links::find(&mut conn, knock.practice, knock.link).await?.ok_or(CareError::NotFound)?;
        let wound = wounds::find(&mut conn, knock.practice, knock.wound).await?.ok_or(CareError::NotFound)?;
        let patient =
            patients::find(&mut conn, knock.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
        all.push(Knocked { knock, link, patient, operation: wound.operation });
    }
    Ok(all)
}

/// How urgent a knock that waits is, on the scale of everything else that does. Words that cannot be read may name a danger.
pub fn class_of_knock(knock: &LateKnock) -> Urgency {
    knock.words.read().map_or(Urgency::RingNow, class_of)
}

fn class_of(words: &str) -> Urgency {
    match words {
        "" => Urgency::Tomorrow,
        words if names_danger(words) => Urgency::RingNow,
        _ => Urgency::Today,
    }
}

/// Somebody saw to it: what came of it stays with it.
pub async fn deal_with(
    desk: &Desk,
    member: &StaffMember,
    id: LateKnockId,
    note: &str,
    now: Timestamp,
) -> Done<()> {
    if !member.roles.office && !member.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let note = note.trim();
    if note.is_empty() || note.chars().count() > LONGEST_NOTE {
        let words = "Say what came of it, for example: rang, gave a new link (500 characters at most).";
        return Err(CareError::Entered(vec![Fault::new("note", words)]));
    }
    let mut tx = desk.db.write().await?;
    late_knocks::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let dealt = Dealt { at: now, by: member.id, note: note.into() };
    if !late_knocks::note_dealt(&mut tx, member.practice, id, &dealt).await? {
        return Err(CareError::AlreadyDone);
    }
    alarms::end(&mut tx, member.practice, AlarmKind::Overdue, &about(id), now).await?;
    let subject = about(id);
    record::note(
        &mut tx,
        member.practice,
        Actor::Staff(member.id),
        "late_knock.deal_with",
        &subject,
        "",
        now,
    )
    .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Every knock that nobody saw to in its time is an alarm.
pub(in crate::care) async fn look(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let late: Vec<LateKnock> = late_knocks::waiting(&mut *desk.db.read().await?, practice)
        .await?
        .into_iter()
        .filter(|knock| moment.now > knock.due)
        .collect();
    if late.is_empty() {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    for knock in late {
        alarms::raise(&mut tx, practice, AlarmKind::Overdue, &about(knock.id), moment).await?;
    }
    Ok(tx.commit().await?)
}

/// An alarm about a knock is still so: nobody saw to it, and it is late.
pub(in crate::care) async fn is_late(
    conn: &mut Conn,
    practice: PracticeId,
    id: LateKnockId,
    now: Timestamp,
) -> Done<bool> {
    let found = late_knocks::find(conn, practice, id).await?;
    Ok(found.is_some_and(|knock| knock.dealt.is_none() && now > knock.due))
}
