//! What every patient page says: who to call, the language switch, the hours, and the page titles.
//!
//! Sentences have at most 15 words and a reading grade of at most 6 (a test counts). The Spanish is a draft until a
//! qualified human translator has read it.

use crate::words::messages;

messages! {
    /// The frame around every patient page. `emergency` is the local emergency number, `phone` the practice's.
    pub struct PatientWords;

    skip_to_page() { en: "Skip to the page", es: "Ir al contenido" }
    help_label() { en: "Phone numbers for help", es: "Teléfonos de ayuda" }
    help_emergency() { en: "Emergency", es: "Emergencia" }
    help_practice() { en: "Practice", es: "Consultorio" }
    call(number: &str) { en: "Call {number}", es: "Llamar al {number}" }
    call_now(number: &str) { en: "Call {number} now", es: "Llame ya al {number}" }
    call_practice() { en: "Call the practice:", es: "Llamar al consultorio:" }

    pages_label() { en: "Pages", es: "Páginas" }
    page_today() { en: "Today", es: "Hoy" }
    page_check() { en: "Wound check", es: "Revisión" }
    page_sent() { en: "Sent", es: "Enviado" }
    page_answers() { en: "Answers", es: "Respuestas" }

    /// Names the other language, so it is said in that language.
    other_language() { en: "Español", es: "English" }
    other_language_code() { en: "es", es: "en" }
    leave() { en: "Leave on this phone", es: "Salir en este teléfono" }
    leave_hint() {
        en: "Not your phone? Leave when you are done. You can open your link again.",
        es: "¿No es su teléfono? Salga al terminar. Puede abrir su enlace otra vez.",
    }
    not_a_doctor() {
        en: "This page does not know how you are. People at the practice read what you send.",
        es: "Esta página no sabe cómo está usted. Las personas del consultorio leen lo que envía.",
    }

    nobody_now() { en: "Nobody is watching messages now.", es: "Nadie está pendiente de los mensajes ahora." }
    again_at(when: &str) { en: "Somebody watches again: {when}", es: "Alguien vuelve a estar pendiente: {when}" }
    again_unknown() { en: "Do not wait for an answer here.", es: "No espere una respuesta aquí." }
    still_send() { en: "You can still send. We read it when we are back.", es: "Puede enviar igual. Lo leemos al volver." }
    watch_surgeon(until: &str) { en: "A surgeon of the practice watches until: {until}", es: "Un cirujano(a) del consultorio está pendiente hasta: {until}" }
    watch_surgeon_always() { en: "A surgeon of the practice watches day and night.", es: "Un cirujano(a) del consultorio está pendiente día y noche." }
    watch_person(until: &str) { en: "A person at the practice watches until: {until}", es: "Una persona del consultorio está pendiente hasta: {until}" }
    watch_person_always() { en: "A person at the practice watches day and night.", es: "Una persona del consultorio está pendiente día y noche." }
    cannot_wait(phone: &str) { en: "Can't wait? Call {phone}.", es: "¿No puede esperar? Llame al {phone}." }
    emergency_do_not_wait(emergency: &str) {
        en: "An emergency? Call {emergency}. Do not wait for us.",
        es: "¿Una emergencia? Llame al {emergency}. No nos espere.",
    }
}

#[cfg(test)]
mod tests {
    use crate::words::Language;
    use crate::words::call_script::ScriptWords;
    use crate::words::notices;
    use crate::words::patient_answers::AnswersWords;
    use crate::words::patient_calendar::CalendarPageWords;
    use crate::words::patient_check::CheckWords;
    use crate::words::patient_danger::DangerWords;
    use crate::words::patient_export::ExportWords;
    use crate::words::patient_faults::FaultWords;
    use crate::words::patient_open::OpenWords;
    use crate::words::patient_options::OptionWords;
    use crate::words::patient_photos::PhotoWords;
    use crate::words::patient_questions::QuestionWords;
    use crate::words::patient_scale::ScaleWords;
    use crate::words::patient_sent::SentWords;
    use crate::words::patient_strip::StripWords;
    use crate::words::patient_today::TodayWords;
    use crate::words::patient_told::ToldWords;
    use crate::words::patient_unsaved::UnsavedWords;

    use super::*;

    type Sentence = (&'static str, &'static str, &'static str);

    fn sets() -> [(&'static str, &'static [Sentence]); 19] {
        [
            ("frame", PatientWords::ALL),
            ("open", OpenWords::ALL),
            ("today", TodayWords::ALL),
            ("danger", DangerWords::ALL),
            ("check", CheckWords::ALL),
            ("photos", PhotoWords::ALL),
            ("scale", ScaleWords::ALL),
            ("questions", QuestionWords::ALL),
            ("options", OptionWords::ALL),
            ("faults", FaultWords::ALL),
            ("sent", SentWords::ALL),
            ("answers", AnswersWords::ALL),
            ("notices", notices::TO_PATIENTS),
            ("strip", StripWords::ALL),
            ("calendar", CalendarPageWords::ALL),
            ("script", ScriptWords::ALL),
            ("told", ToldWords::ALL),
            ("unsaved", UnsavedWords::ALL),
            ("export", ExportWords::ALL),
        ]
    }

    fn sentences(text: &str) -> Vec<&str> {
        let ends = ['.', '?', '!', ':', '·'];
        text.split(ends).map(str::trim).filter(|part| part.chars().any(char::is_alphabetic)).collect()
    }

    fn words(text: &str) -> Vec<&str> {
        text.split_whitespace().filter(|word| word.chars().any(char::is_alphabetic)).collect()
    }

    /// Groups of vowels, a silent final e not counted: crude, and the same for everybody.
    fn syllables(word: &str) -> usize {
        let word = word.to_lowercase();
        let vowel = |letter: char| "aeiouyáéíóúü".contains(letter);
        let (mut groups, mut inside) = (0, false);
        for letter in word.chars() {
            if vowel(letter) && !inside {
                groups += 1;
            }
            inside = vowel(letter);
        }
        let silent = word.trim_matches(|c: char| !c.is_alphabetic()).ends_with('e') && groups > 1;
        (groups - usize::from(silent)).max(1)
    }

    /// Flesch-Kincaid grade (Kincaid 1975): 0.39 words per sentence + 11.8 syllables per word - 15.59.
    fn grade(texts: &[&str]) -> f64 {
        let (mut sentence_count, mut word_count, mut syllable_count) = (0.0, 0.0, 0.0);
        for text in texts {
            for sentence in sentences(text) {
                sentence_count += 1.0;
                for word in words(sentence) {
                    word_count += 1.0;
                    syllable_count += syllables(word) as f64;
                }
            }
        }
        0.39 * word_count / sentence_count + 11.8 * syllable_count / word_count - 15.59
    }

    #[test]
    fn every_sentence_to_a_patient_has_at_most_fifteen_words() {
        for (set, lines) in sets() {
            for (name, english, spanish) in lines {
                for text in [english, spanish] {
                    for sentence in sentences(text) {
                        assert!(words(sentence).len() <= 15, "{set}.{name}: {sentence}");
                    }
                }
            }
        }
    }

    #[test]
    fn every_page_reads_at_grade_six_or_lower() {
        for (set, lines) in sets() {
            let english: Vec<&str> = lines.iter().map(|(_, english, _)| *english).collect();
            let grade = grade(&english);
            assert!(grade <= 6.0, "{set}: {grade:.1}");
        }
    }

    #[test]
    fn the_grade_tells_plain_from_stilted() {
        assert!(grade(&["Press hard with a clean cloth."]) < 6.0);
        assert!(grade(&["Immediate haemostatic compression is recommended."]) > 6.0);
    }

    #[test]
    fn both_languages_fill_the_same_blanks() {
        let blanks = |text: &str| {
            let mut found: Vec<String> =
                text.split('{').skip(1).filter_map(|part| Some(part.split('}').next()?.to_owned())).collect();
            found.sort();
            found
        };
        for (set, lines) in sets() {
            for (name, english, spanish) in lines {
                assert_eq!(blanks(english), blanks(spanish), "{set}.{name}");
            }
        }
    }

    #[test]
    fn the_switch_names_the_other_language_in_itself() {
        for language in Language::ALL {
            let words = PatientWords(language);
            let other: Language = words.other_language_code().parse().unwrap();
            assert_ne!(other, language);
            assert_eq!(words.other_language(), other.own_name());
        }
    }
}
