//! Drafting a change of the protocol: limits and classes, within their safe ranges.

use askama::Template;
use axum::Form;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::protocol_draft;
use crate::care::protocol_draft::Kept;
use crate::triage::Edits;
use crate::triage::Limit;
use crate::triage::Protocol;
use crate::triage::Rule;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::protocol_view::group_words;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;

/// Before a limit's id in the form, and before a rule's.
const LIMIT: &str = "limit.";
const CLASS: &str = "class.";
const BASED_ON: &str = "based_on";

/// Every field of the form as typed, in order.
type Typed = Vec<(String, String)>;

struct LimitField {
    name: String,
    id: String,
    meaning: String,
    value: String,
    /// As in the protocol it changes.
    was: String,
    unit: &'static str,
    range: String,
    source: String,
    is_changed: bool,
    fault: String,
}

struct ClassField {
    name: String,
    rule: String,
    sentence: String,
    choices: Vec<ClassChoice>,
    was: &'static str,
    is_changed: bool,
}

struct ClassChoice {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

struct ClassGroup {
    title: &'static str,
    rules: Vec<ClassField>,
    is_changed: bool,
}

#[derive(Template)]
#[template(path = "practice/protocol_draft.html")]
struct DraftPage {
    frame: Frame,
    based_on: String,
    limits: Vec<LimitField>,
    groups: Vec<ClassGroup>,
    /// What is wrong, and where; the second is the field's id, or empty.
    faults: Vec<(String, String)>,
    has_draft: bool,
}

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// The program's newer version, to start from it.
    from: Option<String>,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let open = protocol_draft::open(&app.desk, &member.member).await?;
    match (&open, asking.from) {
        (Some(open), None) => {
            let typed = as_typed(&open.base, &open.draft.edits);
            draft_page(&app, &member, &open.base, &typed, Vec::new(), Some(&open.draft)).await
        }
        (_, from) => {
            let base = protocol_draft::base(&app.desk, &member.member, from.as_deref()).await?;
            draft_page(&app, &member, &base, &[], Vec::new(), None).await
        }
    }
}

fn as_typed(base: &Protocol, edits: &Edits) -> Typed {
    let limits = edits.limits.iter().filter_map(|(id, value)| {
        let decimals = base.limits().named(id)?.unit.decimals();
        Some((format!("{LIMIT}{id}"), format!("{value:.decimals$}")))
    });
    let classes = edits.classes.iter().map(|(id, class)| (format!("{CLASS}{id}"), class.code().to_owned()));
    limits.chain(classes).collect()
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Form(typed): Form<Typed>,
) -> Result<Response, PageError> {
    let based_on = typed.iter().find(|(name, _)| name == BASED_ON).map(|(_, value)| value.as_str());
    let base = protocol_draft::base(&app.desk, &member.member, based_on).await?;
    let (edits, mut faults) = read(&base, &typed);
    if faults.is_empty() {
        match protocol_draft::keep(&app.desk, &member.member, base.version(), &edits, app.now()).await? {
            Kept::Yes => return Ok(Redirect::to("/practice/protocol/trial").into_response()),
            Kept::Faulty(fault) => {
                faults.extend(fault.faults.into_iter().map(|words| (words, String::new())));
            }
        }
    }
    draft_page(&app, &member, &base, &typed, faults, None).await
}

pub async fn discard(State(app): State<App>, member: Member) -> Result<Redirect, PageError> {
    protocol_draft::discard(&app.desk, &member.member, app.now()).await?;
    Ok(Redirect::to("/practice/protocol"))
}

/// What was typed, and what is wrong with it: words and the field's id.
fn read(base: &Protocol, typed: &Typed) -> (Edits, Vec<(String, String)>) {
    let (mut edits, mut faults) = (Edits::default(), Vec::new());
    for (name, value) in typed {
        if let Some(limit) = name.strip_prefix(LIMIT).and_then(|id| base.limits().named(id)) {
            match number(limit, value) {
                Ok(number) => edits.limits.push((limit.id.clone(), number)),
                Err(words) => faults.push((words, format!("{LIMIT}{}", limit.id))),
            }
        } else if let Some(rule) = name.strip_prefix(CLASS).and_then(|id| base.rule(id)) {
            match value.parse::<Urgency>() {
                Ok(class) => edits.classes.push((rule.id.clone(), class)),
                Err(_) => faults.push((format!("{}: choose one of the classes.", rule.id), name.clone())),
            }
        }
    }
    (edits, faults)
}

/// A limit's value as typed, with a point or a comma, inside its safe range.
fn number(limit: &Limit, typed: &str) -> Result<f64, String> {
    let outside = || {
        let range = limit.range_text();
        format!(
            "{}: type a number from {range}. You typed “{}”.",
            limit.meaning.en.trim_end_matches('.'),
            typed.trim()
        )
    };
    let number: f64 = typed.trim().replace(',', ".").parse().map_err(|_| outside())?;
    if limit.lowest <= number && number <= limit.highest { Ok(number) } else { Err(outside()) }
}

async fn draft_page(
    app: &App,
    member: &Member,
    base: &Protocol,
    typed: &[(String, String)],
    faults: Vec<(String, String)>,
    draft: Option<&protocol_draft::Draft>,
) -> Result<Response, PageError> {
    let given = |name: &str| typed.iter().find(|(field, _)| field == name).map(|(_, value)| value.as_str());
    let shown = DraftPage {
        frame: Frame::of(app, member, Part::Practice, "Draft of the protocol").await?,
        based_on: base.version().to_owned(),
        limits: base.limits().all().iter().map(|limit| limit_field(limit, given, &faults)).collect(),
        groups: class_groups(base, given),
        has_draft: draft.is_some(),
        faults,
    };
    let status = if shown.faults.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    page(status, &shown)
}

fn limit_field<'a>(
    limit: &Limit,
    given: impl Fn(&str) -> Option<&'a str>,
    faults: &[(String, String)],
) -> LimitField {
    let name = format!("{LIMIT}{}", limit.id);
    let decimals = limit.unit.decimals();
    let was = format!("{:.decimals$}", limit.value);
    let value = given(&name).unwrap_or(&was).to_owned();
    LimitField {
        id: limit.id.clone(),
        meaning: limit.meaning.en.clone(),
        unit: limit.unit.sign(),
        range: limit.range_text(),
        source: limit.source.clone(),
        is_changed: value != was,
        fault: faults
            .iter()
            .find(|(_, field)| *field == name)
            .map_or_else(String::new, |fault| fault.0.clone()),
        value,
        was,
        name,
    }
}

fn class_groups<'a>(base: &Protocol, given: impl Fn(&str) -> Option<&'a str>) -> Vec<ClassGroup> {
    let mut groups: Vec<ClassGroup> = Vec::new();
    for rule in base.rules() {
        let title = group_words(rule.group);
        let field = class_field(rule, given(&format!("{CLASS}{}", rule.id)));
        match groups.iter_mut().find(|group| group.title == title) {
            Some(group) => {
                group.is_changed |= field.is_changed;
                group.rules.push(field);
            }
            None => groups.push(ClassGroup { title, is_changed: field.is_changed, rules: vec![field] }),
        }
    }
    groups
}

fn class_field(rule: &Rule, given: Option<&str>) -> ClassField {
    let chosen = given.and_then(|code| code.parse().ok()).unwrap_or(rule.urgency);
    let allowed = Urgency::ALL.iter().rev().filter(|class| **class >= rule.at_least);
    ClassField {
        name: format!("{CLASS}{}", rule.id),
        rule: rule.id.clone(),
        sentence: rule.sentence.en.clone(),
        choices: allowed
            .map(|class| ClassChoice {
                code: class.code(),
                words: class.staff_words(),
                is_chosen: *class == chosen,
            })
            .collect(),
        was: rule.urgency.staff_words(),
        is_changed: chosen != rule.urgency,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_read_with_point_or_comma_and_only_inside_its_safe_range() {
        let fever = Protocol::built_in().limits().named("fever_c").unwrap();
        assert_eq!(number(fever, " 37,5 "), Ok(37.5));
        assert_eq!(number(fever, "37.2"), Ok(37.2));
        assert_eq!(number(fever, "38.3"), Ok(38.3));
        for wrong in ["37.1", "38.4", "", "hot", "nan", "inf"] {
            let words = number(fever, wrong).unwrap_err();
            assert!(words.contains("37.2 to 38.3 °C") && words.contains(wrong), "{words}");
        }
    }
}
