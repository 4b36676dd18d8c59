//! The practice's own reply texts: offered with each decision, editable by a lead, in both languages.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::ReplyTextId;
use crate::store::Conn;
use crate::store::replies;
use crate::store::replies::ReplyText;
use crate::store::staff::StaffMember;
use crate::triage::Decision;

const LONGEST_BODY: usize = 2_000;

/// Every reply text of the practice, in the practice's order. Anyone who works here may read them.
pub async fn list(desk: &Desk, member: &StaffMember) -> Done<Vec<ReplyText>> {
    Ok(replies::of_practice(&mut *desk.db.read().await?, member.practice).await?)
}

/// A reply text as edited. `id`: `None` for a new one.
#[derive(Clone, Debug)]
pub struct Editing {
    pub id: Option<ReplyTextId>,
    pub decision: Decision,
    pub title: String,
    pub body_en: String,
    pub body_es: String,
}

/// Keeps a new or changed reply text.
pub async fn keep(desk: &Desk, lead: &StaffMember, editing: Editing, moment: &Moment) -> Done<ReplyTextId> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let faults = faults(&editing);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let mut tx = desk.db.write().await?;
    let existing = replies::of_practice(&mut tx, lead.practice).await?;
    let position = match editing.id {
        Some(id) => existing.iter().find(|text| text.id == id).ok_or(CareError::NotFound)?.position,
        None => existing.iter().map(|text| text.position).max().unwrap_or(0) + 1,
    };
    let text = ReplyText {
        id: editing.id.unwrap_or_else(|| ReplyTextId::mint(moment)),
        practice: lead.practice,
        decision: editing.decision,
        title: editing.title.trim().to_owned(),
        body_en: editing.body_en.trim().to_owned(),
        body_es: editing.body_es.trim().to_owned(),
        position,
    };
    replies::keep(&mut tx, &text, moment.now).await?;
    let subject = format!("reply_text:{}", text.id);
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "reply_text.keep", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    Ok(text.id)
}

fn faults(editing: &Editing) -> Vec<Fault> {
    let mut faults = Vec::new();
    if editing.title.trim().is_empty() {
        faults.push(Fault::new("title", "Give the reply a short title to choose it by."));
    }
    for (field, body) in [("body_en", &editing.body_en), ("body_es", &editing.body_es)] {
        if body.trim().is_empty() {
            faults.push(Fault::new(
                field,
                "Write the reply in both languages: the patient's own is the one sent.",
            ));
        } else if body.chars().count() > LONGEST_BODY {
            faults.push(Fault::new(field, "Shorten the reply to 2,000 characters."));
        }
    }
    faults
}

/// What a new practice begins with; every text is the practice's to change. Spanish is a draft until a qualified
/// translator has read it.
const FIRST_TEXTS: &[(Decision, &str, &str, &str)] = &[
    (
        Decision::HealingAsExpected,
        "Healing as expected",
        "I looked at your photo and your answers. The wound looks the way I expect on day {day}. Keep washing it as on \
         your sheet. Send the next photo on {next_photo}. Call us at {phone} if the red area grows, if the pain gets \
         worse, if you have 38.0 °C (100.4 °F) or more, or if it bleeds and does not stop.",
        "Vi su foto y sus respuestas. La herida se ve como espero en el día {day}. Siga lavándola como dice su hoja. \
         Mande la próxima foto el {next_photo}. Llámenos al {phone} si lo rojo crece, si el dolor empeora, si tiene \
         38.0 °C (100.4 °F) o más, o si sangra y no para.",
    ),
    (
        Decision::ChangeHomeCare,
        "Wash more often",
        "Please wash the wound {times} times a day for the next {days} days, about five minutes each time. Put on \
         fresh gauze after each wash. Then send another photo. Call us at {phone} if it gets worse.",
        "Por favor lave la herida {times} veces al día por los próximos {days} días, unos cinco minutos cada vez. \
         Ponga gasa limpia después de cada lavado. Luego mande otra foto. Llámenos al {phone} si empeora.",
    ),
    (
        Decision::Antibiotic,
        "Antibiotic sent to the pharmacy",
        "I want you to take an antibiotic. I sent it to {pharmacy}. Start today and finish all of it. Send a photo \
         tomorrow. Call us at {phone} if you cannot keep it down, get a rash, or the red area grows.",
        "Quiero que tome un antibiótico. Lo mandé a {pharmacy}. Empiece hoy y termínelo todo. Mande una foto mañana. \
         Llámenos al {phone} si lo vomita, si le sale sarpullido o si lo rojo crece.",
    ),
    (
        Decision::ComeIn,
        "Come in",
        "I want to see the wound myself. Please come in on {come_in}. If it gets worse before then, call us at {phone}. \
         If we cannot be reached, go to the emergency department.",
        "Quiero ver la herida yo mismo. Por favor venga el {come_in}. Si empeora antes, llámenos al {phone}. Si no \
         contestamos, vaya a la sala de emergencias.",
    ),
    (
        Decision::CallByOffice,
        "We will ring you",
        "Someone from the office will ring you today to talk about this. If you miss the call, ring us at {phone}.",
        "Alguien de la oficina le llamará hoy para hablar de esto. Si no alcanza a contestar, llámenos al {phone}.",
    ),
    (
        Decision::GoToEmergency,
        "Go to the emergency department now",
        "Please go to the nearest emergency department now. Do not drive yourself. Take this phone and your medicine \
         list with you. Call {emergency} if you feel faint, confused or short of breath.",
        "Por favor vaya ahora a la sala de emergencias más cercana. No maneje usted. Lleve este teléfono y la lista de \
         sus medicinas. Llame al {emergency} si se siente débil, confundido o le falta el aire.",
    ),
    (
        Decision::AnotherPhoto,
        "Another photo, please",
        "I cannot judge the wound from this photo. Please take another one: wash first, good light, the card flat \
         beside the wound, phone straight above it. Your answers reached me.",
        "No puedo valorar la herida con esta foto. Por favor tome otra: lave primero, buena luz, la tarjeta plana \
         junto a la herida, el teléfono de frente. Sus respuestas sí me llegaron.",
    ),
];

/// Gives a new practice its first texts.
pub(in crate::care) async fn insert_first_texts(
    conn: &mut Conn,
    practice: PracticeId,
    moment: &Moment,
) -> Done<()> {
    for (position, (decision, title, body_en, body_es)) in (1_i64..).zip(FIRST_TEXTS) {
        let text = ReplyText {
            id: ReplyTextId::mint(moment),
            practice,
            decision: *decision,
            title: (*title).to_owned(),
            body_en: (*body_en).to_owned(),
            body_es: (*body_es).to_owned(),
            position,
        };
        replies::keep(conn, &text, moment.now).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_decision_has_a_first_text_in_both_languages_with_the_same_blanks() {
        let blanks = |text: &str| {
            let mut found: Vec<String> = text
                .split('{')
                .skip(1)
                .filter_map(|rest| rest.split('}').next())
                .map(str::to_owned)
                .collect();
            found.sort();
            found
        };
        for decision in Decision::ALL {
            let text = FIRST_TEXTS.iter().find(|text| text.0 == *decision).unwrap();
            assert_eq!(blanks(text.2), blanks(text.3), "{}", text.1);
        }
    }
}
