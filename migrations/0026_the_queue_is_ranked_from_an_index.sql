-- Whatever the queue is ranked by stands in one index: of thousands of checks that wait, only those on the page are read.
DROP INDEX wound_check_by_state;
CREATE INDEX wound_check_by_state ON wound_check (practice_id, state, urgency, due_ms, sequence, wound_id, id);
