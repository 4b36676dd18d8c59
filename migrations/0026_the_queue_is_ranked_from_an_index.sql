-- Whatever the queue is ranked by stands in one index, of those that wait: of thousands, only those on the page are read. What
-- looks for checks of any state does not meet it.
CREATE INDEX wound_check_waiting ON wound_check (practice_id, state, urgency, due_ms, sequence, wound_id, id)
    WHERE state IN ('queued', 'in_review');
