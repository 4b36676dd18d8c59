//! A practice to test with: a real database, a clock moved by hand, and people with verbs.
//!
//! `on_each_engine(async |practice| { … })` runs a test on SQLite and, when `TEST_PG_URL` names a PostgreSQL server, in
//! a database of its own there.
#![allow(dead_code, unused_imports, reason = "each test binary speaks only some of the verbs")]

mod backed_up;
mod blank;
mod crowd;
mod envelope;
mod failing_disk;
mod log;
mod made_up;
mod measured;
mod mounted;
mod page;
mod people;
mod place;
mod practice;
mod raw;
mod rows;
mod senders;
mod served;
mod silent;
mod stopwatch;
mod together;
mod tour;
mod until_killed;

pub use backed_up::*;
pub use crowd::*;
pub use envelope::*;
pub use failing_disk::*;
pub use log::*;
pub use made_up::*;
pub use measured::*;
pub use mounted::*;
pub use page::*;
pub use people::*;
pub use place::*;
pub use practice::*;
pub use raw::*;
pub use rows::*;
pub use senders::*;
pub use served::*;
pub use silent::*;
pub use stopwatch::*;
pub use together::*;
pub use tour::*;
pub use until_killed::*;
