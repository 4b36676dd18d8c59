-- The cover page counts what came in the last weeks. The index holds all it asks for, so that years of answers are not
-- read to count them.
CREATE INDEX wound_check_by_time ON wound_check (practice_id, received_ms, urgency);
