//! How a practice has its photos measured: whether at all, by which cards, and how large its printer makes them.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::photo::CardIssue;
use crate::photo::TAG_EDGE_MM;
use crate::photo::TAG_IDS;
use crate::sheet::RULER_MM;
use crate::sheet::RulerFault;
use crate::sheet::tag_edge_by_ruler;
use crate::store::practices;
use crate::store::practices::Measuring;
use crate::store::practices::MeasuringSettings;
use crate::store::staff::StaffMember;

/// The form as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Setting {
    /// `on` or `off`.
    pub measuring: String,
    pub first_id: String,
    pub last_id: String,
    /// What a ruler laid on the sheet's line of [`RULER_MM`] reads, mm.
    pub ruler_mm: String,
}

/// How photos are measured now. Anyone who works here may read it.
pub async fn settings(desk: &Desk, member: &StaffMember) -> Done<MeasuringSettings> {
    let found = practices::measuring(&mut *desk.db.read().await?, member.practice).await?;
    found.ok_or(CareError::NotFound)
}

/// Changes how photos are measured from now on. What was measured stays as it was; `measure --again` measures it anew.
pub async fn set(desk: &Desk, lead: &StaffMember, typed: &Setting, moment: &Moment) -> Done<()> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let settings = read(typed).map_err(CareError::Entered)?;
    let mut tx = desk.db.write().await?;
    practices::set_measuring(&mut tx, lead.practice, &settings).await?;
    let detail = format!(
        "measuring={} cards={}-{} tag_edge_mm={}",
        settings.measuring.code(),
        settings.cards.ids.start(),
        settings.cards.ids.end(),
        settings.cards.tag_edge_mm
    );
    let subject = format!("practice:{}", lead.practice);
    let actor = Actor::Staff(lead.id);
    record::note(&mut tx, lead.practice, actor, "measuring.set", &subject, &detail, moment.now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

fn read(typed: &Setting) -> Result<MeasuringSettings, Vec<Fault>> {
    let measuring = typed.measuring.parse::<Measuring>();
    let (first, last) = (tag_id(&typed.first_id), tag_id(&typed.last_id));
    let in_order = first.zip(last).filter(|(first, last)| first <= last);
    let edge = millimetres(&typed.ruler_mm).ok_or(RulerFault::NotALength).and_then(tag_edge_by_ruler);
    if let (Ok(measuring), Some((first, last)), Ok(tag_edge_mm)) = (&measuring, in_order, &edge) {
        let cards = CardIssue { ids: first..=last, tag_edge_mm: *tag_edge_mm };
        return Ok(MeasuringSettings { measuring: *measuring, cards });
    }
    let no_id = || format!("Enter a whole number from 0 to {}.", TAG_IDS - 1);
    let mut faults = Vec::new();
    if measuring.is_err() {
        faults.push(Fault::new("measuring", "Choose whether photos are measured."));
    }
    if first.is_none() {
        faults.push(Fault::new("first_id", no_id()));
    }
    if last.is_none() {
        faults.push(Fault::new("last_id", no_id()));
    }
    if first.is_some() && last.is_some() && in_order.is_none() {
        faults.push(Fault::new("last_id", "The last number cannot be smaller than the first."));
    }
    faults.extend(edge.err().map(|fault| Fault::new("ruler_mm", fault.to_string())));
    Err(faults)
}

/// What the sheet's line of [`RULER_MM`] measures where the marker came out this large, mm to a hundredth.
pub fn ruler_reads_mm(cards: &CardIssue) -> f64 {
    to_hundredths(cards.tag_edge_mm / TAG_EDGE_MM * RULER_MM)
}

fn tag_id(typed: &str) -> Option<u32> {
    typed.trim().parse().ok().filter(|id| *id < TAG_IDS)
}

/// Millimetres with a point or a comma, kept to a hundredth: no ruler reads finer.
fn millimetres(typed: &str) -> Option<f64> {
    let number: f64 = typed.trim().replace(',', ".").parse().ok()?;
    number.is_finite().then(|| to_hundredths(number))
}

fn to_hundredths(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(first_id: &str, last_id: &str, ruler_mm: &str) -> Setting {
        let [first_id, last_id, ruler_mm] = [first_id, last_id, ruler_mm].map(str::to_owned);
        Setting { measuring: "on".to_owned(), first_id, last_id, ruler_mm }
    }

    fn faults(typed: &Setting) -> Vec<&'static str> {
        read(typed).unwrap_err().into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn what_the_ruler_reads_is_taken_with_point_or_comma_and_shown_as_it_was() {
        for (reads, mm) in [("97.5", 97.5), ("97,5", 97.5), ("100", 100.0), (" 102.004 ", 102.0)] {
            let cards = read(&typed("0", "0", reads)).unwrap().cards;
            assert!((cards.tag_edge_mm - mm / 5.0).abs() < 1e-9, "20 mm of 100 mm: {reads}");
            assert_eq!(ruler_reads_mm(&cards), mm, "{reads}");
        }
        for reads in ["10", "300", "-100", "", "NaN", "inf", "two"] {
            assert_eq!(faults(&typed("0", "0", reads)), ["ruler_mm"], "{reads}");
        }
    }

    #[test]
    fn ids_are_those_of_the_marker_family_in_order() {
        assert_eq!(read(&typed("0", "586", "100")).unwrap().cards.ids, 0..=586);
        assert_eq!(faults(&typed("0", "587", "100")), ["last_id"]);
        assert_eq!(faults(&typed("-1", "3", "100")), ["first_id"]);
        assert_eq!(read(&typed("5", "5", "100")).unwrap().cards.ids, 5..=5);
        assert_eq!(faults(&typed("5", "4", "100")), ["last_id"]);
    }

    #[test]
    fn on_or_off_must_be_chosen() {
        let mut typed = typed("0", "0", "100");
        typed.measuring = String::new();
        assert_eq!(faults(&typed), ["measuring"]);
    }
}
