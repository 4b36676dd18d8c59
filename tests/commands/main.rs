//! The program as whoever looks after the server calls it.

#[path = "../support/mod.rs"]
mod support;

mod backup;
mod keys;
mod line;
mod measure;
mod verify;
