//! What is sent out of the house, by text, mail, push or a ringing phone: fixed sentences that say only that something
//! waits.
//!
//! They hold no name, no part of the body, no complaint, no photo and no word of how soon: they are read on locked
//! screens, by whoever lies nearest to the phone. What may vary is an opaque link, the practice's phone and the local
//! emergency number. Spanish goes without á, í, ó and ú, which would halve what fits into a text ([`sms_parts`]).
//!
//! [`sms_parts`]: crate::words::text_parts::sms_parts

use std::str::FromStr;

use serde::Deserialize;
use serde::Serialize;

use crate::words::Language;

/// One notice, ready to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// For mail and push; safe on a locked screen.
    pub subject: String,
    /// For a text, mail and push.
    pub body: String,
    /// For a call: the same without the link, which nobody can follow by ear.
    pub spoken: String,
}

/// Who reads a notice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reader {
    /// In their own language.
    Patient,
    /// In English.
    Staff,
}

/// A code that stands for no notice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not a notice")]
pub struct UnknownNotice;

/// Declares the notices: each has its code, and the text written and the text spoken in every language of its readers.
/// A blank that is not one of the named does not compile.
macro_rules! notices {
    ($(#[$doc:meta])* pub enum $name:ident;
     blanks($link:ident, $phone:ident, $emergency:ident);
     patient { $($(#[$patient_doc:meta])* $patient:ident = $patient_code:literal {
         en: $en:literal, en_spoken: $en_spoken:literal, es: $es:literal, es_spoken: $es_spoken:literal $(,)?
     })* }
     staff { $($(#[$staff_doc:meta])* $staff:ident = $staff_code:literal {
         en: $staff_en:literal, en_spoken: $staff_spoken:literal $(,)?
     })* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$patient_doc])* #[serde(rename = $patient_code)] $patient,)*
            $($(#[$staff_doc])* #[serde(rename = $staff_code)] $staff,)*
        }

        impl $name {
            pub const ALL: &'static [$name] = &[$($name::$patient,)* $($name::$staff),*];

            /// The code in the database.
            pub fn code(self) -> &'static str {
                match self { $($name::$patient => $patient_code,)* $($name::$staff => $staff_code),* }
            }

            /// Who reads it.
            pub fn reader(self) -> Reader {
                match self { $($name::$patient => Reader::Patient,)* $($name::$staff => Reader::Staff),* }
            }

            /// The written sentence with its blanks in braces: what is sent is this and nothing else.
            pub fn template(self, language: Language) -> &'static str {
                match (self, language) {
                    $(($name::$patient, Language::English) => $en,
                      ($name::$patient, Language::Spanish) => $es,)*
                    $(($name::$staff, Language::English | Language::Spanish) => $staff_en,)*
                }
            }
        }

        /// Every sentence to a patient, written and spoken, English and Spanish, blanks in braces.
        #[cfg(test)]
        pub(crate) const TO_PATIENTS: &[(&str, &str, &str)] = &[
            $(($patient_code, $en, $es), ($patient_code, $en_spoken, $es_spoken),)*
        ];

        fn body(kind: $name, language: Language, $link: &str, $phone: &str, $emergency: &str) -> String {
            match (kind, language) {
                $(($name::$patient, Language::English) => filled!($en, $link, $phone, $emergency),
                  ($name::$patient, Language::Spanish) => filled!($es, $link, $phone, $emergency),)*
                $(($name::$staff, Language::English | Language::Spanish) => {
                    filled!($staff_en, $link, $phone, $emergency)
                })*
            }
        }

        fn spoken(kind: $name, language: Language, $phone: &str, $emergency: &str) -> String {
            match (kind, language) {
                $(($name::$patient, Language::English) => filled!($en_spoken, $phone, $emergency),
                  ($name::$patient, Language::Spanish) => filled!($es_spoken, $phone, $emergency),)*
                $(($name::$staff, Language::English | Language::Spanish) => {
                    filled!($staff_spoken, $phone, $emergency)
                })*
            }
        }
    };
}

/// A sentence with its blanks filled in; blanks it does without are no fault.
macro_rules! filled {
    ($sentence:literal, $($blank:ident),*) => {{
        $(let _ = $blank;)*
        format!($sentence)
    }};
}

notices! {
    /// What a notice says.
    pub enum NoticeWords;

    blanks(link, phone, emergency);

    patient {
        /// An answer is there.
        AnswerReady = "answer_ready" {
            en: "You have a new message from your practice: {link} Questions? Call {phone}.",
            en_spoken: "This is your practice. You have a new message. Please open your page. Questions? Call {phone}.",
            es: "Tiene un mensaje nuevo de su consultorio: {link} ¿Preguntas? Llame al {phone}.",
            es_spoken: "Le llama su consultorio. Tiene un mensaje nuevo. Por favor abra su página. ¿Preguntas? Llame al {phone}.",
        }
        /// A step is due today.
        CheckDue = "check_due" {
            en: "Your page has a step for today: {link} Questions? Call {phone}.",
            en_spoken: "This is your practice. Your page has a step for today. Questions? Call {phone}.",
            es: "Hoy tiene un paso pendiente: {link} ¿Preguntas? Llame al {phone}.",
            es_spoken: "Le llama su consultorio. Su página tiene un paso para hoy. ¿Preguntas? Llame al {phone}.",
        }
        /// Something was due and did not come.
        CheckMissed = "check_missed" {
            en: "We have not heard from you. Please open your page: {link} Or call {phone}.",
            en_spoken: "This is your practice. We have not heard from you. Please open your page, or call {phone}.",
            es: "No hemos sabido de usted. Por favor abra este enlace: {link} O llame al {phone}.",
            es_spoken: "Le llama su consultorio. No hemos sabido de usted. Por favor abra su página, o llame al {phone}.",
        }
        /// An answer is there and was not read.
        ReadReply = "read_reply" {
            en: "A message still waits for you. Please read it: {link} Questions? Call {phone}.",
            en_spoken: "This is your practice. A message still waits for you. Please open your page. Questions? Call {phone}.",
            es: "Un mensaje le espera. Por favor léalo: {link} ¿Preguntas? Llame al {phone}.",
            es_spoken: "Le llama su consultorio. Un mensaje le espera. Por favor abra su página. ¿Preguntas? Llame al {phone}.",
        }
        /// The patient was asked to come in, and did not answer.
        ComeInUnanswered = "come_in_unanswered" {
            en: "We asked you something. Please answer us: {link} Or call {phone}.",
            en_spoken: "This is your practice. We asked you something. Please answer on your page, or call {phone}.",
            es: "Esperamos su respuesta. Por favor conteste: {link} O llame al {phone}.",
            es_spoken: "Le llama su consultorio. Esperamos su respuesta. Por favor conteste en su página, o llame al {phone}.",
        }
        /// The office rang and nobody answered.
        CallMissed = "call_missed" {
            en: "We tried to call you. Please call us: {phone}. Your page: {link}",
            en_spoken: "This is your practice. We tried to call you. Please call us: {phone}.",
            es: "Le hemos llamado. Por favor llame al {phone}. Su enlace: {link}",
            es_spoken: "Le llama su consultorio. No pudimos hablar con usted. Por favor llame al {phone}.",
        }
        /// Nobody of the practice could be reached.
        NotReached = "not_reached" {
            en: "We have not reached our team yet. Do not wait for us. Call {phone} or {emergency}. Your page: {link}",
            en_spoken: "This is your practice. We have not reached our team yet. Do not wait for us. Call {phone} or {emergency}.",
            es: "Nuestro equipo no ha contestado. No nos espere. Llame al {phone} o al {emergency}. Su enlace: {link}",
            es_spoken: "Le llama su consultorio. Nuestro equipo no ha contestado. No nos espere. Llame al {phone} o al {emergency}.",
        }
        /// The patient wants no more texts.
        OptedOutConfirmation = "opted_out_confirmation" {
            en: "You will get no more texts from us. Your page still works: {link} Questions? Call {phone}.",
            en_spoken: "This is your practice. You will get no more texts from us. Questions? Call {phone}.",
            es: "Ya no le mandaremos mensajes de texto. Su enlace sirve igual: {link} ¿Preguntas? Llame al {phone}.",
            es_spoken: "Le llama su consultorio. Ya no le mandaremos mensajes de texto. ¿Preguntas? Llame al {phone}.",
        }
    }

    staff {
        /// To whoever is on duty: something waits.
        DutyPage = "duty_page" {
            en: "Something waits for you in the queue: {link}",
            en_spoken: "This is your practice. Something waits for you in the queue. Please sign in and open it.",
        }
        /// The same, once more or to the next person.
        DutyPageAgain = "duty_page_again" {
            en: "It still waits in the queue, and nobody has opened it: {link}",
            en_spoken: "This is your practice. Something still waits in the queue. Nobody has opened it. Please sign in.",
        }
        /// Duty begins with open items.
        HandOver = "hand_over" {
            en: "You are on duty. See what is open: {link}",
            en_spoken: "This is your practice. You are on duty. Please sign in and see what is open.",
        }
        /// To the office: a call is to be made.
        CallToMake = "call_to_make" {
            en: "A call waits to be made: {link}",
            en_spoken: "This is your practice. A call waits to be made. Please sign in.",
        }
        /// Somebody knocked with a link that is closed.
        LateKnock = "late_knock" {
            en: "Somebody tried a link that is closed. Please look: {link}",
            en_spoken: "This is your practice. Somebody tried a link that is closed. Please sign in and look.",
        }
        /// Somebody keeps entering wrong PINs on a link.
        WrongPins = "wrong_pins" {
            en: "Somebody keeps entering wrong PINs. Please look: {link}",
            en_spoken: "This is your practice. Somebody keeps entering wrong PINs. Please sign in and look.",
        }
        /// Something has waited too long.
        Alarm = "alarm" {
            en: "Something has waited too long. Please act: {link}",
            en_spoken: "This is your practice. Something has waited too long. Please sign in and act.",
        }
        /// To somebody who wants to know whether an address of theirs works.
        TestLetter = "test_letter" {
            en: "This is a test. Messages from your practice reach you here: {link}",
            en_spoken: "This is your practice, with a test. Calls from your practice reach you here.",
        }
        /// A lead changed how soon who is told.
        LadderTimes = "ladder_times" {
            en: "The settings of your practice were changed. Please look: {link}",
            en_spoken: "This is your practice. Its settings were changed. Please sign in and look.",
        }
        /// Somebody changed when they are on duty.
        DutyChanged = "duty_changed" {
            en: "Your hours were changed. Please look: {link}",
            en_spoken: "This is your practice. Your hours were changed. Please sign in and look.",
        }
        /// What the practice has kept for long enough goes soon.
        ThingsWillGo = "things_will_go" {
            en: "In a week your practice begins to clear away what is old. Please look: {link}",
            en_spoken: "This is your practice. In a week it begins to clear away what is old. Please sign in and look.",
        }
        /// The weekly drill.
        Drill = "drill" {
            en: "This is a drill. Please act as if it were real: {link}",
            en_spoken: "This is your practice, with a drill. Please sign in and act as if it were real.",
        }
        /// A message to somebody could not be delivered.
        LetterFailed = "letter_failed" {
            en: "A message could not be delivered. Please look: {link}",
            en_spoken: "This is your practice. A message could not be delivered. Please sign in and look.",
        }
    }
}

/// The words of a notice. Staff are written to in English whatever the language.
pub fn notice(
    kind: NoticeWords,
    language: Language,
    link: &str,
    practice_phone: &str,
    emergency_number: &str,
) -> Said {
    let subject = match (kind.reader(), language) {
        (Reader::Patient, Language::Spanish) => "1 mensaje nuevo",
        (Reader::Patient, Language::English) | (Reader::Staff, Language::English | Language::Spanish) => {
            "1 new message"
        }
    };
    Said {
        subject: subject.to_owned(),
        body: body(kind, language, link, practice_phone, emergency_number),
        spoken: spoken(kind, language, practice_phone, emergency_number),
    }
}

impl FromStr for NoticeWords {
    type Err = UnknownNotice;

    fn from_str(code: &str) -> Result<NoticeWords, UnknownNotice> {
        NoticeWords::ALL.iter().copied().find(|kind| kind.code() == code).ok_or(UnknownNotice)
    }
}
