//! The database itself refuses to change or take away a line of the record. Each engine says it in its own words, so this is
//! no migration: it is seen to whenever the database is opened.

use sqlx::AnyPool;
use sqlx::Connection;
use sqlx::Executor;

use crate::store::Stored;
use crate::store::db::Engine;

/// The canary's lines go with the canary: it tells of no person.
const SQLITE: &[&str] = &[
    "CREATE TRIGGER IF NOT EXISTS audit_never_changes BEFORE UPDATE ON audit BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
    "CREATE TRIGGER IF NOT EXISTS audit_never_goes BEFORE DELETE ON audit \
     WHEN COALESCE((SELECT purpose FROM practice WHERE id = OLD.practice_id), '') <> 'canary' BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
    // INSERT OR REPLACE takes the old row away without asking the trigger above.
    "CREATE TRIGGER IF NOT EXISTS audit_never_replaced BEFORE INSERT ON audit \
     WHEN EXISTS (SELECT 1 FROM audit WHERE practice_id = NEW.practice_id AND sequence = NEW.sequence) BEGIN \
     SELECT RAISE(ABORT, 'the record is append-only'); END",
];

/// The same for PostgreSQL, and the grants besides. A lock of its own keeps several servers from doing it at once.
const POSTGRES: &[&str] = &[
    "SELECT pg_advisory_xact_lock(20261126)",
    "CREATE OR REPLACE FUNCTION audit_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
     IF TG_OP = 'DELETE' THEN \
     IF EXISTS (SELECT 1 FROM practice WHERE id = OLD.practice_id AND purpose = 'canary') THEN RETURN OLD; END IF; \
     END IF; \
     RAISE EXCEPTION 'the record is append-only'; END $$",
    "CREATE OR REPLACE TRIGGER audit_never_changes BEFORE UPDATE OR DELETE ON audit \
     FOR EACH ROW EXECUTE FUNCTION audit_is_kept()",
    "CREATE OR REPLACE TRIGGER audit_never_goes BEFORE TRUNCATE ON audit \
     FOR EACH STATEMENT EXECUTE FUNCTION audit_is_kept()",
    "REVOKE UPDATE, TRUNCATE ON audit FROM CURRENT_USER",
];

/// Whether the guards of this database stand already; a server that may not make them still finds them.
const POSTGRES_STANDS: &str = "SELECT COUNT(*) FROM pg_trigger WHERE tgrelid = 'audit'::regclass \
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
