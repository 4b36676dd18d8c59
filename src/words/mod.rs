//! What is said to patients, in English and Spanish: each sentence is a typed function, so that a missing
//! language or a wrong blank does not compile.

pub mod calendar;
pub mod call_script;
mod language;
pub mod notices;
pub mod patient;
pub mod patient_answers;
pub mod patient_calendar;
pub mod patient_check;
pub mod patient_danger;
pub mod patient_export;
pub mod patient_faults;
pub mod patient_open;
pub mod patient_options;
pub mod patient_photos;
pub mod patient_questions;
pub mod patient_scale;
pub mod patient_sent;
pub mod patient_strip;
pub mod patient_today;
pub mod patient_told;
pub mod patient_unsaved;
pub mod sheet;
pub mod text_parts;

pub use language::Language;

/// A set of sentences in both languages.
///
/// `messages! { pub struct SheetWords; day(day: i64) { en: "Day {day}", es: "Día {day}" } }` makes a type
/// `SheetWords(Language)` with one method per sentence, and `SheetWords::ALL` with every raw sentence, which the
/// reading-grade and placeholder tests read.
macro_rules! messages {
    ($(#[$doc:meta])* pub struct $set:ident;
     $($(#[$line_doc:meta])* $name:ident($($blank:ident: $kind:ty),* $(,)?) { en: $en:literal, es: $es:literal $(,)? })*) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug)]
        pub struct $set(pub $crate::words::Language);

        #[allow(clippy::useless_format, reason = "a sentence without blanks is still written like the others")]
        impl $set {
            /// Every sentence: its name, English, Spanish, blanks still in braces.
            pub const ALL: &'static [(&'static str, &'static str, &'static str)] =
                &[$((stringify!($name), $en, $es)),*];

            /// The language these sentences are in.
            pub fn language(self) -> $crate::words::Language {
                self.0
            }

            $($(#[$line_doc])*
            pub fn $name(self, $($blank: $kind),*) -> String {
                match self.0 {
                    $crate::words::Language::English => format!($en),
                    $crate::words::Language::Spanish => format!($es),
                }
            })*
        }
    };
}
pub(crate) use messages;
