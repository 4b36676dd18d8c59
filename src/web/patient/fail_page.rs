//! The page a proxy shows in the server's place when the server does not answer: whom to ring, in both languages. It needs nothing of
//! the server, and has no form: nothing can be lost in it (safety promise M7).

use askama::Template;

use crate::store::practices::Practice;
use crate::web::patient::frame::Number;
use crate::words::Language;
use crate::words::patient::PatientWords;
use crate::words::patient_unsaved::UnsavedWords;

struct Half {
    lang: &'static str,
    words: UnsavedWords,
    common: PatientWords,
}

struct House {
    name: String,
    phone: Number,
}

#[derive(Template)]
#[template(path = "patient/fail_page.html")]
struct FailPage {
    halves: [Half; 2],
    /// Each once, as the practices name them.
    emergency: Vec<Number>,
    houses: Vec<House>,
}

/// The whole page, HTML. `practices`: everybody whose patients come to this server; none: patients are sent to their sheet.
pub fn fail_page(practices: &[Practice]) -> Result<String, askama::Error> {
    let mut emergency: Vec<&str> = Vec::new();
    for practice in practices {
        if !emergency.contains(&practice.emergency_number.as_str()) {
            emergency.push(&practice.emergency_number);
        }
    }
    let page = FailPage {
        halves: Language::ALL.map(|language| Half {
            lang: language.code(),
            words: UnsavedWords(language),
            common: PatientWords(language),
        }),
        emergency: emergency.into_iter().map(Number::new).collect(),
        houses: practices
            .iter()
            .map(|practice| House { name: practice.name.clone(), phone: Number::new(&practice.phone) })
            .collect(),
    };
    page.render()
}
