//! What is printed on one sheet, and what cannot be printed.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::photo::TAG_IDS;
use crate::plan::Packing;
use crate::plan::PlanStep;
use crate::plan::Site;
use crate::plan::coded;
use crate::sheet::lettering::printable;
use crate::words::Language;

coded! {
    /// The paper in the printer.
    pub enum Paper { A4 = "a4", Letter = "letter" }
}

impl Paper {
    /// Width and height in millimetres (ISO 216; US Letter is 8.5 by 11 inches of 25.4 mm).
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
        }
    }
}

/// Everything that is printed on one sheet. Each link has its own sheet: the patient's, a helper's.
#[derive(Clone, Debug)]
pub struct SheetContents {
    pub language: Language,
    pub practice_name: String,
    pub practice_phone: String,
    /// The local emergency number, set by the practice.
    pub emergency_number: String,
    pub patient_name: String,
    /// Whose link this is, in the patient's language, such as "helper Ana".
    pub link_name: String,
    /// Chooses the danger signs that only some places on the body have.
    pub site: Site,
    /// Site and side in the patient's language, such as "left thigh".
    pub wound: String,
    pub procedure: String,
    pub surgeon_name: String,
    pub operated: Timestamp,
    pub plan: Vec<PlanStep>,
    /// `None`: no strip was placed.
    pub packing: Option<Packing>,
    /// The time zone all days and hours are printed in.
    pub zone: TimeZone,
    /// The whole patient link; only in the square code.
    pub link_url: String,
    /// What is typed in its place, such as "clinic.example/go", together with `typed_code` in groups.
    pub short_address: String,
    pub typed_code: String,
    /// Six digits; needed to read answers, not to send.
    pub pin: String,
    pub expires: Timestamp,
    pub printed: Timestamp,
    /// The marker on the scale card, one of the practice's ids.
    pub tag_id: u32,
}

/// Why a sheet cannot be printed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SheetFault {
    /// A sheet without a phone number, a code or a PIN must not be handed out.
    #[error("{0} is missing")]
    Missing(&'static str),
    /// Names are shortened; a shortened number, address or code would be a wrong one.
    #[error("{0} is too long to print")]
    TooLong(&'static str),
    #[error("{0} has characters that cannot be printed")]
    NotPrintable(&'static str),
    #[error("the patient link is too long for a code that phones can read")]
    LinkTooLong,
    #[error("page {page} has no room for all of its text")]
    DoesNotFit { page: usize },
    #[error("no marker has the number {0}")]
    NoSuchMarker(u32),
    #[error("the sheet could not be drawn")]
    Drawing,
}

impl SheetContents {
    /// A local day and hour on the sheet.
    pub(super) fn local(&self, when: Timestamp) -> DateTime {
        when.to_zoned_datetime(self.zone.clone()).datetime()
    }

    /// The contents with names shortened to what has room, or why they cannot be printed.
    pub(super) fn checked(&self) -> Result<SheetContents, SheetFault> {
        if self.tag_id >= TAG_IDS {
            return Err(SheetFault::NoSuchMarker(self.tag_id));
        }
        Ok(SheetContents {
            practice_name: shortened(&self.practice_name, 60),
            practice_phone: exact("the practice's phone number", &self.practice_phone, 24)?,
            emergency_number: exact("the emergency number", &self.emergency_number, 16)?,
            patient_name: shortened(&self.patient_name, 120),
            link_name: shortened(&self.link_name, 40),
            wound: shortened(&self.wound, 40),
            procedure: shortened(&self.procedure, 90),
            surgeon_name: shortened(&self.surgeon_name, 50),
            link_url: exact("the patient link", &self.link_url, 2_000)?,
            short_address: exact("the short address", &self.short_address, 48)?,
            typed_code: exact("the typed code", &self.typed_code, 32)?,
            pin: exact("the PIN", &self.pin, 12)?,
            ..self.clone()
        })
    }
}

/// A name with at most `most` letters; the cut shows as three dots.
fn shortened(name: &str, most: usize) -> String {
    let name = printable(name.trim());
    if name.chars().count() <= most {
        return name;
    }
    name.chars().take(most - 1).chain(['…']).collect()
}

/// Something that has to be right to the letter. Its spaces become fixed ones, so that no line breaks in it.
fn exact(what: &'static str, text: &str, most: usize) -> Result<String, SheetFault> {
    let text = text.trim();
    if text.is_empty() {
        Err(SheetFault::Missing(what))
    } else if text.chars().count() > most {
        Err(SheetFault::TooLong(what))
    } else if printable(text) != text {
        Err(SheetFault::NotPrintable(what))
    } else {
        Ok(text.replace(' ', "\u{a0}"))
    }
}
