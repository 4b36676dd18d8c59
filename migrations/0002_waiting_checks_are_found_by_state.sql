-- Without statistics SQLite judged the index of open checks no better than the one of all checks of a practice, and the
-- queue read every check ever kept. Found by practice and state, the waiting ones are a few rows on both engines.
DROP INDEX wound_check_waiting;
CREATE INDEX wound_check_by_state ON wound_check (practice_id, state, urgency, due_ms, sequence);
