//! What leaves the house: always one of the approved sentences, whatever a patient typed, and short enough for a text.

use closewatch::words::Language;
use closewatch::words::notices::NoticeWords;
use closewatch::words::notices::Reader;
use closewatch::words::notices::notice;
use closewatch::words::text_parts::sms_parts;
use proptest::prelude::*;

/// Words that must not stand on a locked screen, in small letters, whole words: who, where, what ails them, how soon.
const BANNED: &[&str] = &[
    // English: the body and what was done to it.
    "wound",
    "wounds",
    "surgery",
    "surgical",
    "surgeon",
    "operation",
    "abscess",
    "cyst",
    "infection",
    "infected",
    "pus",
    "blood",
    "bleeding",
    "pain",
    "fever",
    "red",
    "redness",
    "swelling",
    "smell",
    "skin",
    "thigh",
    "groin",
    "buttock",
    "buttocks",
    "anus",
    "perianal",
    "breast",
    "armpit",
    "neck",
    "belly",
    "leg",
    "arm",
    "packing",
    "strip",
    "gauze",
    "dressing",
    "drain",
    "photo",
    "photos",
    "picture",
    "healing",
    "heal",
    "antibiotic",
    "medicine",
    "pill",
    "diabetes",
    "diagnosis",
    "symptom",
    "symptoms",
    "check",
    "doctor",
    "dr",
    "nurse",
    "hospital",
    "clinic",
    "patient",
    "patients",
    // English: how soon.
    "urgent",
    "urgency",
    "emergency",
    "immediately",
    "now",
    "critical",
    "serious",
    "severe",
    "danger",
    "dangerous",
    "today's",
    "overdue",
    "alarm",
    "worse",
    "hour",
    "asap",
    // Spanish.
    "herida",
    "heridas",
    "cirugía",
    "cirugia",
    "cirujano",
    "cirujana",
    "operación",
    "operacion",
    "absceso",
    "quiste",
    "infección",
    "infeccion",
    "pus",
    "sangre",
    "sangrado",
    "dolor",
    "fiebre",
    "rojo",
    "roja",
    "hinchazón",
    "olor",
    "piel",
    "muslo",
    "ingle",
    "nalga",
    "ano",
    "seno",
    "axila",
    "cuello",
    "vientre",
    "pierna",
    "brazo",
    "gasa",
    "mecha",
    "vendaje",
    "curación",
    "foto",
    "fotos",
    "imagen",
    "antibiótico",
    "antibiotico",
    "medicina",
    "pastilla",
    "diabetes",
    "diagnóstico",
    "síntoma",
    "síntomas",
    "revisión",
    "médico",
    "médica",
    "doctor",
    "doctora",
    "enfermera",
    "hospital",
    "clínica",
    "paciente",
    "urgente",
    "urgencia",
    "emergencia",
    "inmediatamente",
    "ya mismo",
    "ahora",
    "grave",
    "peligro",
    "peor",
    "hora",
    "alarma",
];

/// As long as the longest the program makes: a long host name and 160 random bits.
const LINK: &str = "https://messages.harbor-street-practice.example/p/7Gm2QxV9cK4tHs8LwZr3NbYd5Fj";
const PHONE: &str = "(202) 555-0142";

fn every_notice() -> impl Iterator<Item = (NoticeWords, Language)> {
    NoticeWords::ALL.iter().flat_map(|kind| Language::ALL.map(|language| (*kind, language)))
}

/// The template with its blanks filled in, by another way than the program's own.
fn expected(template: &str, link: &str, phone: &str, emergency: &str) -> String {
    let mut parts = template.split('{');
    let mut text = parts.next().unwrap().to_owned();
    for part in parts {
        let (blank, rest) = part.split_once('}').unwrap();
        text.push_str(match blank {
            "link" => link,
            "phone" => phone,
            "emergency" => emergency,
            other => panic!("a blank called {other}"),
        });
        text.push_str(rest);
    }
    text
}

fn words(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|letter: char| !letter.is_alphanumeric() && letter != '\'')
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

fn banned_in(text: &str) -> Option<String> {
    words(text).into_iter().find(|word| BANNED.contains(&word.as_str()))
}

#[test]
fn no_notice_names_a_body_a_complaint_or_how_soon() {
    for (kind, language) in every_notice() {
        let said = notice(kind, language, "", "", "");
        for text in [&said.subject, &said.body, &said.spoken] {
            assert_eq!(banned_in(text), None, "{kind:?}: {text}");
        }
    }
}

#[test]
fn the_list_of_banned_words_finds_them() {
    for text in ["Your wound photo", "Es URGENTE.", "fever?", "su herida", "Call now!"] {
        assert!(banned_in(text).is_some(), "{text}");
    }
}

/// What a patient may have typed: names, places, complaints, in any letters.
fn typed() -> impl Strategy<Value = String> {
    prop_oneof!["[A-Z][a-z]{3,9} [A-Z][a-zñ]{3,12}", "[a-z áéíóúñ{}<>%]{8,60}", "\\PC{8,40}"]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Safety promise H9.
    #[test]
    fn whatever_was_sent_in_what_goes_out_is_the_template_with_link_and_phone(
        name in typed(),
        complaint in typed(),
        kind in proptest::sample::select(NoticeWords::ALL),
        spanish: bool,
        token in "[A-Za-z0-9_-]{27}",
        phone in "\\(202\\) 555-01[0-9]{2}",
        emergency in "(911|112|999)",
    ) {
        let language = if spanish { Language::Spanish } else { Language::English };
        let link = format!("https://page.example/p/{token}");
        let said = notice(kind, language, &link, &phone, &emergency);
        prop_assert_eq!(&said.body, &expected(kind.template(language), &link, &phone, &emergency));
        prop_assert!(banned_in(&said.body.replace(&link, "")).is_none());
        for canary in [&name, &complaint] {
            prop_assert!(!said.body.contains(canary.as_str()) && !said.spoken.contains(canary.as_str()));
        }
        let generic = ["1 new message", "1 mensaje nuevo"];
        prop_assert!(generic.contains(&said.subject.as_str()));
        prop_assert!(!said.spoken.contains("http"));
    }
}

#[test]
fn every_notice_fits_into_two_parts_and_most_into_one() {
    let mut singles = 0;
    let mut all = 0;
    for (kind, language) in every_notice() {
        let body = notice(kind, language, LINK, PHONE, "911").body;
        let parts = sms_parts(&body);
        println!("{parts}  {:>3}  {} {}: {body}", body.chars().count(), kind.code(), language.code());
        assert!(parts <= 2, "{kind:?} takes {parts} parts: {body}");
        all += 1;
        singles += usize::from(parts == 1);
    }
    assert!(singles * 4 >= all * 3, "{singles} of {all}");
}

#[test]
fn no_notice_has_a_letter_that_halves_what_fits_into_a_text() {
    for (kind, language) in every_notice() {
        // 80 letters of the alphabet of texts are one part; with one letter outside it they are two.
        for letter in kind.template(language).chars() {
            let alone = format!("{letter}{}", "a".repeat(79));
            assert_eq!(sms_parts(&alone), 1, "{kind:?} {language:?}: {letter}");
        }
    }
}

#[test]
fn a_patient_is_always_told_whom_to_ring_and_where_the_page_is() {
    for (kind, language) in every_notice() {
        let said = notice(kind, language, LINK, PHONE, "911");
        assert!(said.body.contains(LINK), "{kind:?}");
        match kind.reader() {
            Reader::Patient => assert!(said.body.contains(PHONE) && said.spoken.contains(PHONE), "{kind:?}"),
            Reader::Staff => assert!(!said.body.contains(PHONE), "{kind:?}"),
        }
    }
    for language in Language::ALL {
        let said = notice(NoticeWords::NotReached, language, LINK, PHONE, "112");
        assert!(said.body.contains("112") && said.spoken.contains("112"));
    }
}

#[test]
fn patients_read_their_own_language_and_staff_english() {
    for kind in NoticeWords::ALL {
        let english = notice(*kind, Language::English, LINK, PHONE, "911");
        let spanish = notice(*kind, Language::Spanish, LINK, PHONE, "911");
        match kind.reader() {
            Reader::Patient => {
                assert_ne!(english.body, spanish.body, "{kind:?}");
                assert_ne!(english.spoken, spanish.spoken, "{kind:?}");
                assert_ne!(english.subject, spanish.subject, "{kind:?}");
            }
            Reader::Staff => assert_eq!(english, spanish, "{kind:?}"),
        }
    }
}

#[test]
fn codes_read_back_and_no_two_notices_share_one() {
    for kind in NoticeWords::ALL {
        assert_eq!(kind.code().parse(), Ok(*kind));
    }
    assert!("".parse::<NoticeWords>().is_err());
}
