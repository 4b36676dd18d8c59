-- By when the patient is to have read an answer of the practice; NULL: a message of the patient. It is kept rather than worked
-- out anew, so that a clock set back can bring it nearer like everything else that is due.
ALTER TABLE message ADD COLUMN read_by_ms BIGINT;
UPDATE message SET read_by_ms = sent_ms + 86400000 WHERE sender = 'practice' AND practice_id <> '';
CREATE INDEX message_unread ON message (practice_id, read_by_ms) WHERE sender = 'practice' AND read_ms IS NULL;
