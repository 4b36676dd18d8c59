//! Whom a notice goes to, and where they are reached.

use crate::care::CareError;
use crate::care::Done;
use crate::care::outbox::Outside;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::canary;
use crate::store::links;
use crate::store::notices::Notice;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::staff;
use crate::store::wounds;
use crate::words::Language;

/// Where somebody is reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    pub channel: Reached,
    pub address: String,
}

/// Whom a notice goes to, in the order in which their addresses are tried.
pub struct Reader {
    pub language: Language,
    pub places: Vec<Place>,
}

pub async fn readers(conn: &mut Conn, notice: &Notice, outside: &Outside) -> Done<Vec<Reader>> {
    let voice_first = notice.kind == NoticeKind::UrgentCheckByVoice;
    Ok(match notice.recipient {
        Recipient::Staff(id) => {
            vec![member(conn, notice.practice, id, outside, voice_first).await?]
        }
        Recipient::Office => {
            let mut readers = Vec::new();
            for one in staff::of_practice(conn, notice.practice).await? {
                if one.active && one.roles.office {
                    readers.push(member(conn, notice.practice, one.id, outside, voice_first).await?);
                }
            }
            readers
        }
        Recipient::Link(id) => {
            let link = links::find(conn, notice.practice, id).await?.ok_or(CareError::NotFound)?;
            let wound = wounds::find(conn, notice.practice, link.wound).await?.ok_or(CareError::NotFound)?;
            let patient =
                patients::find(conn, notice.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
            let is_helpers = patient.helper_name.as_ref().is_some_and(|name| *name == link.name);
            let phone = patient.helper_phone.as_ref().filter(|_| is_helpers).unwrap_or(&patient.phone);
            let by_phone = |channel| Place { channel, address: phone.clone() };
            let places = vec![by_phone(Reached::Sms), by_phone(Reached::Voice)];
            vec![Reader {
                language: patient.language,
                places: usable(conn, notice.practice, places, outside).await?,
            }]
        }
    })
}

async fn member(
    conn: &mut Conn,
    practice: PracticeId,
    id: StaffId,
    outside: &Outside,
    voice_first: bool,
) -> Done<Reader> {
    let kept = addresses::of_staff(conn, practice, id).await?;
    let mut places: Vec<Place> =
        kept.into_iter().map(|kept| Place { channel: kept.channel, address: kept.address }).collect();
    if voice_first {
        places.sort_by_key(|place| place.channel != Reached::Voice);
    }
    Ok(Reader { language: Language::English, places: usable(conn, practice, places, outside).await? })
}

/// Those that are set up and whose owner has not said stop.
async fn usable(
    conn: &mut Conn,
    practice: PracticeId,
    places: Vec<Place>,
    outside: &Outside,
) -> Done<Vec<Place>> {
    // The canary's letters end within the house, whatever is set up.
    let is_canary = canary::practice(conn).await? == Some(practice);
    let mut usable = Vec::new();
    for place in places {
        if (is_canary || outside.channels.contains(&place.channel))
            && !addresses::opted_out(conn, practice, place.channel, &place.address).await?
        {
            usable.push(place);
        }
    }
    Ok(usable)
}
