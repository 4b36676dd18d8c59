//! Work that follows a saved change: rows written with the change, worked off later and safely twice.

pub mod downtime_list;
pub mod heartbeat;
pub mod measuring;
pub mod record_head;
pub mod runner;
pub mod scrub;
