//! A story of the seed data as it is written down: one patient, what they sent and what was answered.

use jiff::civil::Date;
use serde::Deserialize;
use serde_json::Value;

use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::words::Language;

#[derive(Clone, Deserialize)]
pub(in crate::cli) struct Story {
    pub(in crate::cli) name: String,
    pub(in crate::cli) born: Date,
    pub(in crate::cli) phone: String,
    pub(in crate::cli) language: Language,
    pub(in crate::cli) helper: Option<(String, String)>,
    pub(in crate::cli) site: Site,
    pub(in crate::cli) side: Side,
    pub(in crate::cli) procedure: String,
    pub(in crate::cli) surgeon: String,
    pub(in crate::cli) operated_h_ago: f64,
    pub(in crate::cli) size: Option<(f64, f64, f64)>,
    pub(in crate::cli) strips: Option<(u8, f64)>,
    pub(in crate::cli) pen_line: bool,
    pub(in crate::cli) risk: RiskFactors,
    #[serde(default)]
    pub(in crate::cli) shown_link: bool,
    pub(in crate::cli) checks: Vec<CheckLine>,
}

#[derive(Clone, Deserialize)]
pub(in crate::cli) struct CheckLine {
    pub(in crate::cli) h_ago: f64,
    pub(in crate::cli) photos: Vec<String>,
    pub(in crate::cli) answers: Value,
    pub(in crate::cli) decided: Option<DecisionLine>,
}

#[derive(Clone, Deserialize)]
pub(in crate::cli) struct DecisionLine {
    pub(in crate::cli) after_min: i64,
    pub(in crate::cli) decision: Decision,
    pub(in crate::cli) reply: String,
    #[serde(default)]
    pub(in crate::cli) note: String,
    #[serde(default)]
    pub(in crate::cli) ask: String,
    pub(in crate::cli) read_after_min: Option<i64>,
    pub(in crate::cli) asked: Option<String>,
    pub(in crate::cli) asked_after_min: Option<i64>,
    #[serde(default)]
    pub(in crate::cli) call: Vec<CallLine>,
    /// What the surgeon said about how urgent it was.
    #[serde(default)]
    pub(in crate::cli) judged: Option<Urgency>,
    /// For "come in": hours from the decision.
    #[serde(default)]
    pub(in crate::cli) come_in_after_h: Option<f64>,
}

#[derive(Clone, Deserialize)]
pub(in crate::cli) struct CallLine {
    pub(in crate::cli) after_min: i64,
    pub(in crate::cli) result: CallResult,
    pub(in crate::cli) outcome: Option<CallOutcome>,
    pub(in crate::cli) note: String,
    /// When a booked visit is, from the call.
    #[serde(default)]
    pub(in crate::cli) visit_after_h: Option<f64>,
}
