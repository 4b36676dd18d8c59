//! What a ladder or an alarm is about, looked up from its `kind:ID`.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Done;
use crate::ids::CallbackId;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::store::Conn;
use crate::store::antibiotics;
use crate::store::callbacks;
use crate::store::callbacks::CallbackState;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::deliveries;
use crate::store::deliveries::Delivery;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::late_knocks;
use crate::store::links;
use crate::store::notices;
use crate::store::notices::Notice;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::sealed_codes;
use crate::store::sealed_codes::Look;
use crate::store::silences;
use crate::store::silences::SilenceState;
use crate::store::staff;
use crate::store::wounds;
use crate::triage::Urgency;

/// The patient something is about.
#[derive(Clone, Debug)]
pub struct Whom {
    pub patient: PatientId,
    pub name: String,
    pub phone: String,
    pub operation: Operation,
}

/// A check that waits, or did.
#[derive(Clone, Debug)]
pub struct CheckThing {
    pub id: WoundCheckId,
    pub whom: Option<Whom>,
    pub urgency: Urgency,
    pub received: Timestamp,
    pub due: Timestamp,
    pub is_waiting: bool,
}

/// A call that waits, or did.
#[derive(Clone, Debug)]
pub struct CallThing {
    pub id: CallbackId,
    pub whom: Option<Whom>,
    pub urgency: Urgency,
    pub due: Timestamp,
    pub is_waiting: bool,
}

/// Somebody silent, an antibiotic a surgeon was asked about, somebody who knocked with a closed link, or a link that sends too much.
#[derive(Clone, Debug)]
pub struct SilentThing {
    /// Where it opens.
    pub page: String,
    pub whom: Option<Whom>,
    pub is_waiting: bool,
}

/// Whom a message is for.
#[derive(Clone, Debug)]
pub enum For {
    /// By name.
    Staff(String),
    Office,
    Patient(Option<Box<Whom>>),
}

/// A message that did not go out.
#[derive(Clone, Debug)]
pub struct LetterThing {
    pub notice: Notice,
    /// `None`: there was no address to begin with.
    pub delivery: Option<Delivery>,
    pub to: For,
}

/// What a ladder or an alarm is about.
#[derive(Clone, Debug)]
pub enum Thing {
    Check(CheckThing),
    Call(CallThing),
    Silent(SilentThing),
    Letter(Box<LetterThing>),
    Job(Box<Job>),
    /// Somebody who opened the sealed envelope.
    Look(Box<Look>),
    /// The practice or the server as a whole.
    House,
}

impl Thing {
    /// It still waits for a person.
    pub fn is_waiting(&self) -> bool {
        match self {
            Thing::Check(check) => check.is_waiting,
            Thing::Call(call) => call.is_waiting,
            Thing::Silent(silent) => silent.is_waiting,
            Thing::Letter(_) | Thing::Job(_) | Thing::Look(_) | Thing::House => true,
        }
    }
}

/// Looks up what `about` names. What is not there any more counts as the house.
pub async fn thing(conn: &mut Conn, practice: PracticeId, about: &str) -> Done<Thing> {
    let found = match about.split_once(':') {
        Some(("check", id)) => check(conn, practice, id).await?,
        Some(("callback", id)) => call(conn, practice, id).await?,
        Some(("silence", id)) => silent(conn, practice, id).await?,
        Some(("late_knock", id)) => knocked(conn, practice, id).await?,
        Some(("antibiotic", id)) => antibiotic(conn, practice, id).await?,
        Some(("link", id)) => link(conn, practice, id).await?,
        Some(("delivery", id)) => match id.parse() {
            Ok(id) => match deliveries::find(conn, practice, id).await? {
                Some(delivery) => {
                    letter(conn, practice, delivery.notice.to_string().as_str(), Some(delivery)).await?
                }
                None => None,
            },
            Err(_) => None,
        },
        Some(("notice", id)) => letter(conn, practice, id, None).await?,
        Some(("job", id)) => match id.parse() {
            Ok(id) => jobs::find(conn, practice, id).await?.map(|job| Thing::Job(Box::new(job))),
            Err(_) => None,
        },
        Some(("look", id)) => match id.parse() {
            Ok(id) => {
                sealed_codes::find_look(conn, practice, id).await?.map(|look| Thing::Look(Box::new(look)))
            }
            Err(_) => None,
        },
        Some(_) | None => None,
    };
    Ok(found.unwrap_or(Thing::House))
}

async fn knocked(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(knock) = late_knocks::find(conn, practice, id).await? else { return Ok(None) };
    Ok(Some(Thing::Silent(SilentThing {
        page: format!("/callbacks#late-{id}"),
        whom: whom(conn, practice, knock.wound).await?,
        is_waiting: knock.dealt.is_none(),
    })))
}

async fn check(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(check) = checks::find(conn, practice, id).await? else { return Ok(None) };
    Ok(Some(Thing::Check(CheckThing {
        id: check.id,
        whom: whom(conn, practice, check.wound).await?,
        urgency: check.assessment.urgency,
        received: check.received,
        due: check.due,
        is_waiting: matches!(check.state, CheckState::Queued | CheckState::InReview),
    })))
}

async fn call(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(call) = callbacks::find(conn, practice, id).await? else { return Ok(None) };
    Ok(Some(Thing::Call(CallThing {
        id: call.id,
        whom: whom(conn, practice, call.wound).await?,
        urgency: call.urgency,
        due: call.due,
        is_waiting: call.state == CallbackState::Open,
    })))
}

async fn silent(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(silence) = silences::find(conn, practice, id).await? else { return Ok(None) };
    Ok(Some(Thing::Silent(SilentThing {
        page: format!("/silence/{}", silence.id),
        whom: whom(conn, practice, silence.wound).await?,
        is_waiting: silence.state == SilenceState::Open,
    })))
}

async fn antibiotic(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(course) = antibiotics::find(conn, practice, id).await? else { return Ok(None) };
    let wound = wounds::find(conn, practice, course.wound).await?.ok_or(CareError::NotFound)?;
    Ok(Some(Thing::Silent(SilentThing {
        page: format!("/patients/{}", wound.patient),
        whom: whom(conn, practice, course.wound).await?,
        is_waiting: true,
    })))
}

async fn link(conn: &mut Conn, practice: PracticeId, id: &str) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(link) = links::find(conn, practice, id).await? else { return Ok(None) };
    let wound = wounds::find(conn, practice, link.wound).await?.ok_or(CareError::NotFound)?;
    Ok(Some(Thing::Silent(SilentThing {
        page: format!("/patients/{}", wound.patient),
        whom: whom(conn, practice, link.wound).await?,
        is_waiting: true,
    })))
}

async fn letter(
    conn: &mut Conn,
    practice: PracticeId,
    id: &str,
    delivery: Option<Delivery>,
) -> Done<Option<Thing>> {
    let Ok(id) = id.parse() else { return Ok(None) };
    let Some(notice) = notices::find(conn, practice, id).await? else { return Ok(None) };
    let to = match notice.recipient {
        Recipient::Office => For::Office,
        Recipient::Staff(id) => {
            For::Staff(staff::find(conn, practice, id).await?.map_or_else(String::new, |member| member.name))
        }
        Recipient::Link(id) => For::Patient(match links::find(conn, practice, id).await? {
            Some(link) => whom(conn, practice, link.wound).await?.map(Box::new),
            None => None,
        }),
    };
    Ok(Some(Thing::Letter(Box::new(LetterThing { notice, delivery, to }))))
}

async fn whom(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Done<Option<Whom>> {
    let Some(wound) = wounds::find(conn, practice, wound).await? else { return Ok(None) };
    let Some(patient) = patients::find(conn, practice, wound.patient).await? else { return Ok(None) };
    Ok(Some(Whom {
        patient: patient.id,
        name: patient.name,
        phone: patient.phone,
        operation: wound.operation,
    }))
}
