-- How well the ranking agrees with the surgeons, and how soon they answer, is read from what stood when they decided.
-- How urgent the surgeon said it was, 0 to 4; NULL: they said nothing, and the decision speaks.
ALTER TABLE review ADD COLUMN urgency_judged BIGINT;
-- By when the answer was due as the surgeon saw it: a question asked back moves the check's own due time afterwards.
-- NULL: decided before this was kept.
ALTER TABLE review ADD COLUMN due_shown_ms BIGINT;
-- For decisions that ask the office to ring: by when, as it stood then; the callback's own due time moves with each try.
ALTER TABLE review ADD COLUMN call_due_ms BIGINT;
-- Up to here a call was due 10 minutes, 30 minutes, 4 hours or a day after the decision, by the class that was shown.
UPDATE review SET call_due_ms = decided_ms + CASE urgency_shown WHEN 0 THEN 600000 WHEN 1 THEN 1800000
    WHEN 2 THEN 14400000 ELSE 86400000 END WHERE decision IN ('call_by_office', 'come_in');
UPDATE review SET call_due_ms = decided_ms + 600000 WHERE decision = 'go_to_emergency';
-- The figures of a period read these columns of every check, and nothing else: answers and assessments stay unread.
CREATE INDEX wound_check_by_time ON wound_check (practice_id, received_ms, sequence, id, urgency, due_ms);
