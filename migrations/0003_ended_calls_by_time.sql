-- The office's page shows the newest ended calls; without this it would sort every call ever made.
CREATE INDEX callback_by_end ON callback (practice_id, closed_ms);
