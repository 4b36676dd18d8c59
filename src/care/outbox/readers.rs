//! Whom a notice goes to, and where they are reached.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Done;
use crate::care::outbox::Outside;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::canary;
use crate::store::deliveries::Delivery;
use crate::store::link_addresses;
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

impl Place {
    pub fn is_of(&self, delivery: &Delivery) -> bool {
        self.channel == delivery.channel && self.address == delivery.address
    }
}

/// Whom a notice goes to, in the order in which their addresses are tried.
pub struct Reader {
    pub language: Language,
    pub places: Vec<Place>,
    /// Told as well, whatever comes of the others: a browser may lie in a drawer.
    pub beside: Vec<Place>,
    /// Every place known of them, usable or not.
    pub was: Vec<Place>,
}

pub async fn readers(
    conn: &mut Conn,
    notice: &Notice,
    outside: &Outside,
    now: Timestamp,
) -> Done<Vec<Reader>> {
    let voice_first = notice.kind == NoticeKind::UrgentCheckByVoice;
    Ok(match notice.recipient {
        Recipient::Staff(id) if notice.kind == NoticeKind::TestLetter => {
            let mut reader = member(conn, notice.practice, id, outside, voice_first).await?;
            let tested = tested(conn, notice, id).await?;
            reader.places.retain(|place| Some(place) == tested.as_ref());
            vec![reader]
        }
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
            let by_phone = vec![by_phone(Reached::Sms), by_phone(Reached::Voice)];
            let browsers = link_addresses::of_link(conn, notice.practice, id, now).await?;
            let browsers: Vec<Place> = browsers
                .into_iter()
                .map(|kept| Place { channel: Reached::Push, address: kept.address })
                .collect();
            vec![Reader {
                language: patient.language,
                was: by_phone.iter().chain(&browsers).cloned().collect(),
                places: usable(conn, notice.practice, by_phone, outside).await?,
                beside: usable(conn, notice.practice, browsers, outside).await?,
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
    Ok(Reader {
        language: Language::English,
        was: places.clone(),
        places: usable(conn, practice, places, outside).await?,
        beside: Vec::new(),
    })
}

/// The address a test is of; `None`: it was taken away meanwhile.
async fn tested(conn: &mut Conn, notice: &Notice, staff: StaffId) -> Done<Option<Place>> {
    let named = notice.about.strip_prefix("address:").and_then(|rest| rest.split(' ').next());
    let kept = addresses::of_staff(conn, notice.practice, staff).await?;
    let tested = kept.into_iter().find(|kept| Some(kept.id.to_string().as_str()) == named);
    Ok(tested.map(|kept| Place { channel: kept.channel, address: kept.address }))
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
