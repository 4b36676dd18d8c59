//! The care plan text: what the steps say to patients, in both languages, and the numbers in them.

use std::collections::BTreeMap;

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::plan_text;
use crate::care::plan_text::InUse;
use crate::plan::Both;
use crate::plan::NUMBER_LIMITS;
use crate::plan::NumberLimit;
use crate::plan::PlanNumbers;
use crate::plan::PlanText;
use crate::plan::StepKind;
use crate::plan::StepText;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct NumberView {
    name: &'static str,
    says: &'static str,
    /// The unit and the range.
    hint: String,
    value: String,
    fault: String,
}

struct StepView {
    code: &'static str,
    heading: &'static str,
    title_en: String,
    title_es: String,
    body_en: String,
    body_es: String,
    fault: String,
}

#[derive(Template)]
#[template(path = "practice/plan_text.html")]
struct PlanTextPage {
    frame: Frame,
    version: i64,
    /// Where the text comes from.
    made: String,
    blanks: String,
    numbers: Vec<NumberView>,
    steps: Vec<StepView>,
    faults: Faults,
}

/// The form as typed: names and values.
type Typed = BTreeMap<String, String>;

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let used = plan_text::view(&app.desk, &member.member).await?;
    let typed = typed_of(&used.text);
    text_page(&app, &member, &used, used.version, &typed, Vec::new()).await
}

fn typed_of(text: &PlanText) -> Typed {
    let mut typed = Typed::new();
    for limit in NUMBER_LIMITS {
        typed.insert(limit.name.to_owned(), text.numbers.named(limit.name).unwrap_or_default().to_string());
    }
    for kind in StepKind::ALL {
        let StepText { title, body } = text.of(*kind);
        for (part, words) in
            [("title_en", title.en), ("title_es", title.es), ("body_en", body.en), ("body_es", body.es)]
        {
            typed.insert(format!("{}_{part}", kind.code()), words);
        }
    }
    typed
}

async fn text_page(
    app: &App,
    member: &Member,
    used: &InUse,
    version: i64,
    typed: &Typed,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let frame = Frame::of(app, member, Part::Practice, "Care plan text").await?;
    let zone = &frame.practice.zone;
    let faults = Faults(faults);
    let text = |name: &str| typed.get(name).cloned().unwrap_or_default();
    let number = |limit: &NumberLimit| NumberView {
        name: limit.name,
        says: limit.says,
        hint: format!("{}, {} to {}", limit.unit, limit.lowest, limit.highest),
        value: text(limit.name),
        fault: faults.beside(limit.name).to_owned(),
    };
    let step = |kind: &StepKind| StepView {
        code: kind.code(),
        heading: heading(*kind),
        title_en: text(&format!("{}_title_en", kind.code())),
        title_es: text(&format!("{}_title_es", kind.code())),
        body_en: text(&format!("{}_body_en", kind.code())),
        body_es: text(&format!("{}_body_es", kind.code())),
        fault: faults.beside(kind.code()).to_owned(),
    };
    let shown = PlanTextPage {
        version,
        made: match used.made {
            Some(made) => {
                let when = time_words::clock_time(made, app.now(), zone, STAFF_LANGUAGE);
                format!("Version {}, saved {when}.", used.version)
            }
            None => "The text the program comes with.".to_owned(),
        },
        blanks: NUMBER_LIMITS.iter().map(|limit| format!("{{{}}}", limit.name)).collect::<Vec<_>>().join(" "),
        numbers: NUMBER_LIMITS.iter().map(number).collect(),
        steps: StepKind::ALL.iter().map(step).collect(),
        faults,
        frame,
    };
    page(shown.faults.status(), &shown)
}

fn heading(kind: StepKind) -> &'static str {
    match kind {
        StepKind::PackingRemoval => "Strip out",
        StepKind::WashTwiceDaily => "Washing in week 1",
        StepKind::WashDaily => "Washing from week 2",
        StepKind::Dressing => "Clean gauze",
        StepKind::PainPill => "Pain pill",
        StepKind::Antibiotic => "Antibiotic",
        StepKind::Photo => "Wound check",
        StepKind::AntibioticCheck => "Check of the antibiotic",
        StepKind::AntibioticEnd => "Last day of the antibiotic",
        StepKind::Visit => "Visit",
        StepKind::PlanEnd => "End of the plan",
    }
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Form(typed): Form<Typed>,
) -> Result<Response, PageError> {
    let used = plan_text::view(&app.desk, &member.member).await?;
    let version = typed.get("version").and_then(|version| version.trim().parse().ok()).unwrap_or(-1);
    let text = match read(&typed) {
        Ok(text) => text,
        Err(faults) => return text_page(&app, &member, &used, version, &typed, faults).await,
    };
    match plan_text::keep(&app.desk, &member.member, version, text, app.now()).await {
        Ok(_) => Ok(Redirect::to("/practice/plan-text").into_response()),
        Err(CareError::Entered(faults)) => text_page(&app, &member, &used, version, &typed, faults).await,
        Err(other) => Err(other.into()),
    }
}

fn read(typed: &Typed) -> Result<PlanText, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut number = |name: &'static str| -> u16 {
        let read = typed.get(name).and_then(|value| value.trim().parse().ok());
        read.unwrap_or_else(|| {
            faults.push(Fault::new(name, "Enter a whole number."));
            0
        })
    };
    let numbers = PlanNumbers {
        pill_wait_min: number("pill_wait_min"),
        pill_wait_most_min: number("pill_wait_most_min"),
        soak_min: number("soak_min"),
        soak_most_min: number("soak_most_min"),
        press_min: number("press_min"),
        wash_times: number("wash_times"),
        strip_due_h: number("strip_due_h"),
        strip_overdue_h: number("strip_overdue_h"),
    };
    if !faults.is_empty() {
        return Err(faults);
    }
    let words = |kind: StepKind, part: &str| {
        typed.get(&format!("{}_{part}", kind.code())).map_or_else(String::new, |text| text.trim().to_owned())
    };
    let both = |kind: StepKind, part: &str| Both {
        en: words(kind, &format!("{part}_en")),
        es: words(kind, &format!("{part}_es")),
    };
    let steps = StepKind::ALL
        .iter()
        .map(|kind| {
            let text = StepText { title: both(*kind, "title"), body: both(*kind, "body") };
            (kind.code().to_owned(), text)
        })
        .collect();
    Ok(PlanText { numbers, steps })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_holds_everything_of_the_text() {
        let text = PlanText::built_in();
        assert_eq!(read(&typed_of(text)).unwrap(), *text);
    }

    #[test]
    fn what_is_no_number_is_said_beside_its_field() {
        let mut typed = typed_of(PlanText::built_in());
        typed.insert("soak_min".to_owned(), "long".to_owned());
        assert_eq!(read(&typed).unwrap_err()[0].field, "soak_min");
    }
}
