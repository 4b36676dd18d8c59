//! Days of staff and patients through the router, one file per part of the work; one program, for all of them stand on the same helpers.

#[path = "../support/mod.rs"]
mod support;

mod alarms;
mod bulk_export;
mod check;
mod cover;
mod duty;
mod export;
mod figures;
mod follow_up;
mod keeping;
mod links;
mod measure;
mod outline;
mod patient;
mod plan;
mod progress;
mod reach;
mod silence;
mod staff;
mod surgeon;
mod unsaved;
