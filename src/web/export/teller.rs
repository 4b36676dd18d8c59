//! What every part of a copy is told with: the episode, the reader's language, and times with their year.

use jiff::Timestamp;

use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::ids::StaffId;
use crate::store::FreeText;
use crate::store::corrections::Correction;
use crate::store::free_text::CANNOT_BE_READ;
use crate::web::export::names;
use crate::words::Language;
use crate::words::patient_export::ExportWords;

/// Borrowed by every part.
#[derive(Clone, Copy)]
pub struct Teller<'a> {
    pub episode: &'a Episode,
    pub words: ExportWords,
}

impl<'a> Teller<'a> {
    /// A patient's copy speaks the patient's language; the record speaks the staff's.
    pub fn of(episode: &'a Episode) -> Teller<'a> {
        let language = match episode.copy {
            CopyFor::Patient => episode.patient.language,
            CopyFor::Record => Language::English,
        };
        Teller { episode, words: ExportWords(language) }
    }

    pub fn language(&self) -> Language {
        self.words.language()
    }

    pub fn is_record(&self) -> bool {
        self.episode.copy == CopyFor::Record
    }

    /// "March 10, 2026, 11:05 am"
    pub fn time(&self, at: Timestamp) -> String {
        names::full_time(at, &self.episode.practice.zone, self.language())
    }

    /// The same of a time that may be missing: then empty.
    pub fn time_maybe(&self, at: Option<Timestamp>) -> String {
        at.map_or_else(String::new, |at| self.time(at))
    }

    /// "March 10, 2026"
    pub fn day(&self, at: Timestamp) -> String {
        names::full_day(at, &self.episode.practice.zone, self.language())
    }

    /// A member of staff by name; the practice's where nobody is known by the id.
    pub fn name(&self, id: StaffId) -> String {
        match self.episode.name_of(id) {
            "" => self.episode.practice.name.clone(),
            name => name.to_owned(),
        }
    }

    /// What somebody typed. Where it cannot be opened, whoever reads the copy is told so: staff whom to turn to, patients to ring.
    pub fn typed(&self, words: &FreeText) -> String {
        match (words.read(), self.is_record()) {
            (Some(words), _) => words.to_owned(),
            (None, true) => CANNOT_BE_READ.to_owned(),
            (None, false) => self.words.cannot_be_read(&self.episode.practice.phone),
        }
    }

    /// The same of words that came out of the books among others: what staff read stands there already where they cannot be opened.
    pub fn typed_among_others(&self, words: &str) -> String {
        match words == CANNOT_BE_READ && !self.is_record() {
            true => self.words.cannot_be_read(&self.episode.practice.phone),
            false => words.to_owned(),
        }
    }

    /// Who made the copy and when, and who agreed.
    pub fn stamp(&self) -> Vec<String> {
        let made = &self.episode.made;
        let mut lines = vec![self.words.made(&made.name, &self.episode.practice.name, &self.time(made.at))];
        if let Some(agreed) = &made.agreed {
            lines.push(self.words.made_agreed(&made.name, agreed));
        }
        lines
    }

    /// A correction, with who noted it and when above it.
    pub fn corrected(&self, correction: &Correction) -> String {
        self.words.corrected(&self.name(correction.by), &self.time(correction.noted))
    }
}
