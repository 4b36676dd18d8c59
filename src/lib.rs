//! Closewatch: a self-hosted inbox for photos of open surgical wounds.
//!
//! The rooms; DEVELOPERS.md walks through them with a wound check. Imports go downhill only: `tests/house.rs` keeps it so.
#![forbid(unsafe_code)]

/// What the practice does, one file per step.
pub mod care;
/// The commands of the one binary.
pub mod cli;
/// Settings: read once, checked once.
pub mod config;
/// Who answers when: practice hours, holidays, the roster, its gaps and swaps.
pub mod duty;
/// What keeps the loop safe, by name.
pub mod guards;
/// What things are called inside, and the moment they happen at.
pub mod ids;
/// Work that follows a saved change, done later and safely twice.
pub mod jobs;
/// Knocks on the outside: a folder, a webhook for texts and calls, mail, push.
pub mod notify;
/// What a picture is: upright, clean, of known quality; the printed scale card.
pub mod photo;
/// The operation, the patient's risk factors and the dated steps of home care.
pub mod plan;
/// The printed discharge sheet.
pub mod sheet;
/// Where everything is kept: the only room that speaks SQL and blobs.
pub mod store;
/// Logs without people in them.
pub mod telemetry;
/// What to do about it: answers, facts, protocol, urgency, reading order.
pub mod triage;
/// The only room that knows HTTP and HTML.
pub mod web;
/// What is said to patients, in English and Spanish.
pub mod words;
/// What a picture says about the wound: outline, size, redness, tissue, and the healing course.
pub mod wound;
