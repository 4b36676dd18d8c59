//! The database itself refuses to change or take away a line of the record. Each engine says it in its own words, so this is
//! no migration: it is seen to whenever the database is opened.

use sqlx::AnyPool;
use sqlx::Connection;
use sqlx::Executor;

use crate::store::Stored;
use crate::store::db::Engine;

/// The canary's lines go with the canary: it tells of no person. Any other line goes only from the beginning on, up to where the
/// practice says that its record begins, and only when it is six years older than the newest line: six times 365 days, in
/// milliseconds, are never more than six years of the calendar.
const SQLITE: &[&str] = &[
    "CREATE TRIGGER IF NOT EXISTS audit_never_changes BEFORE UPDATE ON audit BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
    "CREATE TRIGGER IF NOT EXISTS audit_goes_by_age BEFORE DELETE ON audit \
     WHEN NOT EXISTS (SELECT 1 FROM practice WHERE practice.id = OLD.practice_id AND (practice.purpose = 'canary' \
     OR (practice.audit_start >= OLD.sequence AND OLD.at_ms < (SELECT newest.at_ms FROM audit AS newest \
     WHERE newest.practice_id = OLD.practice_id ORDER BY newest.sequence DESC LIMIT 1) - 189216000000))) BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
    // From before any line could go.
    "DROP TRIGGER IF EXISTS audit_never_goes",
    // INSERT OR REPLACE takes the old row away without asking the trigger above.
    "CREATE TRIGGER IF NOT EXISTS audit_never_replaced BEFORE INSERT ON audit \
     WHEN EXISTS (SELECT 1 FROM audit WHERE practice_id = NEW.practice_id AND sequence = NEW.sequence) BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
];

/// The same for PostgreSQL, and the grants besides. A lock of its own keeps several servers from doing it at once.
const POSTGRES: &[&str] = &[
    "SELECT pg_advisory_xact_lock(20261126)",
    "CREATE OR REPLACE FUNCTION audit_goes_by_age() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
     IF TG_OP = 'DELETE' THEN \
     IF EXISTS (SELECT 1 FROM practice WHERE practice.id = OLD.practice_id AND (practice.purpose = 'canary' \
     OR (practice.audit_start >= OLD.sequence AND OLD.at_ms < (SELECT newest.at_ms FROM audit AS newest \
     WHERE newest.practice_id = OLD.practice_id ORDER BY newest.sequence DESC LIMIT 1) - 189216000000))) \
     THEN RETURN OLD; END IF; \
     END IF; \
     RAISE EXCEPTION 'the record is append-only'; END $$",
    "CREATE OR REPLACE TRIGGER audit_never_changes BEFORE UPDATE OR DELETE ON audit \
     FOR EACH ROW EXECUTE FUNCTION audit_goes_by_age()",
    "CREATE OR REPLACE TRIGGER audit_never_goes BEFORE TRUNCATE ON audit \
     FOR EACH STATEMENT EXECUTE FUNCTION audit_goes_by_age()",
    // From before any line could go.
    "DROP FUNCTION IF EXISTS audit_is_kept()",
    "REVOKE UPDATE, TRUNCATE ON audit FROM CURRENT_USER",
];

/// Whether the guards of this database stand already; a server that may not make them still finds them.
const POSTGRES_STANDS: &str = "SELECT COUNT(*) FROM pg_trigger JOIN pg_proc ON pg_proc.oid = pg_trigger.tgfoid \
                               WHERE tgrelid = 'audit'::regclass AND proname = 'audit_goes_by_age' \
                               AND tgname IN ('audit_never_changes', 'audit_never_goes') AND tgenabled = 'O'";

pub async fn guard(pool: &AnyPool, engine: Engine) -> Stored<()> {
    let mut conn = pool.acquire().await?;
    match engine {
        Engine::Sqlite => {
            for sql in SQLITE {
                conn.execute(*sql).await?;
            }
        }
        Engine::Postgres => {
            let standing: i64 = sqlx::query_scalar(POSTGRES_STANDS).fetch_one(&mut *conn).await?;
            if standing == 2 {
                return Ok(());
            }
            let mut tx = conn.begin().await?;
            for sql in POSTGRES {
                tx.execute(*sql).await?;
            }
            tx.commit().await?;
        }
    }
    Ok(())
}
