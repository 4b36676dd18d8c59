//! Where everything is kept: the only room that speaks SQL and blobs. Rows turn into the practice's own types here.
//!
//! Every function takes a connection, so that a caller decides what belongs into one transaction. Every query names
//! the practice: a row of another practice is as good as absent.

pub mod addresses;
pub mod alarms;
pub mod antibiotics;
mod append_only;
pub mod arrivals;
pub mod assessments;
pub mod attendance;
pub mod audit;
pub mod audit_chain;
mod blobs;
pub mod calendar_feeds;
pub mod callbacks;
pub mod canary;
pub mod check_drafts;
pub mod checks;
pub mod claims;
pub mod clock;
mod db;
pub mod deliveries;
pub mod drills;
pub mod duty;
pub mod figures;
pub mod jobs;
pub mod key_file;
pub mod keyring;
pub mod ladders;
pub mod link_addresses;
pub mod links;
pub mod measurements;
pub mod measuring_jobs;
pub mod notices;
pub mod patients;
pub mod photos;
pub mod plan;
pub mod plan_texts;
pub mod practices;
pub mod protocols;
pub mod replies;
pub mod reviews;
mod row;
pub mod sealed_blobs;
pub mod second_steps;
pub mod server;
pub mod sign_in_tries;
pub mod silences;
pub mod staff;
pub mod staff_sessions;
pub mod strip_attempts;
pub mod thread;
pub mod wounds;

pub use blobs::{BlobName, Blobs, KeptBlob};
pub use db::{Conn, Db, Engine, Tx};

/// What can go wrong while keeping or fetching.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// After an error at commit the change may or may not have been kept: never undo the blobs, ask the sender to
    /// send again under the same form key.
    #[error("database: {0}")]
    Database(#[from] sqlx::Error),
    #[error("migration: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    #[error("column {column} holds something unreadable: {because}")]
    Unreadable { column: &'static str, because: String },
    #[error("photo store: {0}")]
    Blob(#[from] object_store::Error),
    #[error("something sealed cannot be opened: {0}")]
    Sealed(#[from] keyring::SealFault),
    #[error("the database address must begin with sqlite: or postgres:")]
    UnknownEngine,
}

impl StoreError {
    /// The row exists already; the caller decides whether that is a doubled send or a clash.
    pub fn is_duplicate(&self) -> bool {
        matches!(self, StoreError::Database(sqlx::Error::Database(fault)) if fault.is_unique_violation())
    }
}

pub type Stored<T> = Result<T, StoreError>;
