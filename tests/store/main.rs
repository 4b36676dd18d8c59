//! The store and the care flow on both engines: what is kept, in which order it is read, who can see it, and what is
//! left when something breaks in the middle.

#[path = "../support/mod.rs"]
mod support;

mod arrivals;
mod at_once;
mod attendance;
mod audit_chain;
mod clock_back;
mod daily;
mod durable;
mod duty;
mod figures;
mod flow;
mod isolation;
mod keeping;
mod keeps;
mod ladder;
mod letters;
mod protocols;
mod queue_order;
mod row_sums;
mod scrub;
