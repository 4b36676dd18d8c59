//! Where everything is kept: the only room that speaks SQL and blobs. Rows turn into the practice's own types here.
//!
//! Every function takes a connection, so that a caller decides what belongs into one transaction. Every query names
//! the practice: a row of another practice is as good as absent.

pub mod addresses;
pub mod alarms;
pub mod answer_versions;
pub mod antibiotics;
mod append_only;
pub mod arrivals;
pub mod assessments;
pub mod attendance;
pub mod audit;
pub mod audit_chain;
pub mod audit_search;
pub mod backup_key;
pub mod backup_part;
mod blobs;
pub mod books;
pub mod calendar_feeds;
pub mod callbacks;
pub mod canary;
pub mod check_counts;
pub mod check_drafts;
mod check_words;
pub mod checks;
pub mod claims;
pub mod clock;
pub mod corrections;
mod db;
pub mod deliveries;
pub mod disk_fault;
pub mod drills;
pub mod duty;
pub mod export_agreements;
pub mod figures;
pub mod free_text;
pub mod jobs;
pub mod keepings;
pub mod key_file;
pub mod keyring;
pub mod ladders;
pub mod late_knocks;
pub mod legal_holds;
pub mod link_addresses;
pub mod links;
pub mod log_whole;
pub mod measurements;
pub mod measuring_jobs;
pub mod notices;
pub mod orphans;
pub mod patients;
pub mod photos;
pub mod plan;
pub mod plan_texts;
pub mod practices;
pub mod protocols;
pub mod purge;
pub mod purge_letters;
pub mod replies;
pub mod reviews;
mod row;
pub mod row_sums;
pub mod sealed_blobs;
pub mod sealed_codes;
pub mod sealing_servers;
pub mod seals;
pub mod second_steps;
pub mod server;
pub mod sign_in_tries;
pub mod silences;
pub mod staff;
pub mod staff_sessions;
pub mod strip_attempts;
pub mod text_columns;
pub mod thread;
pub mod tombstones;
pub mod unreadable_texts;
pub mod whole;
mod wound_words;
pub mod wounds;

pub use blobs::{BlobName, Blobs, KeptBlob};
pub use db::{Conn, Db, Engine, Reader, Tx};
pub use free_text::FreeText;

/// What can go wrong while keeping or fetching.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// After an error at commit the change may or may not have been kept: never undo the blobs, ask the sender to
    /// send again under the same form key.
    #[error("database: {0}")]
    Database(#[source] sqlx::Error),
    #[error("migration: {0}")]
    Migration(#[source] sqlx::migrate::MigrateError),
    /// Nothing was changed.
    #[error(
        "the books were last opened by a newer program: this one does not know their change number {version}. Start the newer \
         program again, or bring back the back-up that was made before it came."
    )]
    NewerBooks { version: i64 },
    #[error("column {column} holds something unreadable: {because}")]
    Unreadable { column: &'static str, because: String },
    #[error("photo store: {0}")]
    Blob(#[source] object_store::Error),
    #[error("something sealed cannot be opened: {0}")]
    Sealed(#[from] keyring::SealFault),
    #[error("file: {0}")]
    File(#[from] std::io::Error),
    #[error("the database address must begin with sqlite: or postgres:")]
    UnknownEngine,
}

/// Every fault of the books comes through here, so that none of a failed disk is overlooked (see [`disk_fault`]).
impl From<sqlx::Error> for StoreError {
    fn from(fault: sqlx::Error) -> StoreError {
        disk_fault::heed_database(&fault);
        StoreError::Database(fault)
    }
}

impl From<sqlx::migrate::MigrateError> for StoreError {
    fn from(fault: sqlx::migrate::MigrateError) -> StoreError {
        if let sqlx::migrate::MigrateError::Execute(inner)
        | sqlx::migrate::MigrateError::ExecuteMigration(inner, _) = &fault
        {
            disk_fault::heed_database(inner);
        }
        match fault {
            sqlx::migrate::MigrateError::VersionMissing(version) => StoreError::NewerBooks { version },
            other => StoreError::Migration(other),
        }
    }
}

/// As for the books.
impl From<object_store::Error> for StoreError {
    fn from(fault: object_store::Error) -> StoreError {
        disk_fault::heed_folder(&fault);
        StoreError::Blob(fault)
    }
}

impl StoreError {
    /// The disk is full, or its owner's share of it: nothing is broken, and it ends once there is room. SQLite has code 13 for
    /// it, PostgreSQL 53100 (disk_full).
    pub fn is_no_room(&self) -> bool {
        match self {
            StoreError::Database(sqlx::Error::Database(fault)) => {
                fault.code().is_some_and(|code| code == "13" || code == "53100")
            }
            StoreError::Blob(fault) => disk_fault::is_no_room(fault),
            StoreError::File(fault) => fault.kind() == std::io::ErrorKind::StorageFull,
            StoreError::Database(_)
            | StoreError::Migration(_)
            | StoreError::NewerBooks { .. }
            | StoreError::Unreadable { .. }
            | StoreError::Sealed(_)
            | StoreError::UnknownEngine => false,
        }
    }

    /// The books themselves are damaged: SQLite's codes 11 and 26 and their kin, PostgreSQL's data_corrupted and
    /// index_corrupted.
    pub fn is_damage(&self) -> bool {
        let (StoreError::Database(fault)
        | StoreError::Migration(
            sqlx::migrate::MigrateError::Execute(fault)
            | sqlx::migrate::MigrateError::ExecuteMigration(fault, _),
        )) = self
        else {
            return false;
        };
        let sqlx::Error::Database(fault) = fault else { return false };
        let code = fault.code().unwrap_or_default();
        match code.parse::<u32>() {
            // The lowest eight bits of a SQLite code say what it is, the others more exactly.
            Ok(code) if code < 10_000 => matches!(code & 0xff, 11 | 26),
            Ok(_) | Err(_) => code == "XX001" || code == "XX002",
        }
    }

    /// What a row holds cannot be read as what its column is for: letters that are no UTF-8, a text where a number belongs.
    pub fn is_unreadable_row(&self) -> bool {
        matches!(
            self,
            StoreError::Unreadable { .. }
                | StoreError::Database(
                    sqlx::Error::ColumnDecode { .. }
                        | sqlx::Error::Decode(_)
                        | sqlx::Error::AnyDriverError(_)
                )
        )
    }

    /// The row exists already; the caller decides whether that is a doubled send or a clash.
    pub fn is_duplicate(&self) -> bool {
        matches!(self, StoreError::Database(sqlx::Error::Database(fault)) if fault.is_unique_violation())
    }
}

pub type Stored<T> = Result<T, StoreError>;
