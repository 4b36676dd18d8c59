-- How long things are kept, what must not go, and what went when its time was over.

-- The numbers a lead confirmed. No row: nobody did, and nothing goes.
CREATE TABLE keeping (
    practice_id TEXT PRIMARY KEY REFERENCES practice (id),
    -- A patient's record, after the last of their wounds' records ended.
    clinical_years BIGINT NOT NULL CHECK (clinical_years BETWEEN 5 AND 99),
    -- Whoever was younger when it ended is kept until this age, and for so many years more.
    minor_age BIGINT NOT NULL CHECK (minor_age BETWEEN 18 AND 30),
    minor_years BIGINT NOT NULL CHECK (minor_years BETWEEN 0 AND 99),
    -- Lines of the record of who did or saw what. The database itself keeps them for six years whatever stands here.
    record_years BIGINT NOT NULL CHECK (record_years BETWEEN 6 AND 99),
    -- Messages that were sent, and work that failed.
    letters_days BIGINT NOT NULL CHECK (letters_days BETWEEN 30 AND 3650),
    -- Half-filled checks, and sessions of staff that ended.
    passing_days BIGINT NOT NULL CHECK (passing_days BETWEEN 3 AND 365),
    confirmed_by TEXT NOT NULL REFERENCES staff (id),
    confirmed_ms BIGINT NOT NULL,
    -- Nothing goes before this.
    waits_until_ms BIGINT NOT NULL,
    -- When what is due was last looked at: a gap makes it wait anew.
    looked_ms BIGINT NOT NULL
);

-- Nothing of this patient, or of the whole practice, goes while one stands.
CREATE TABLE legal_hold (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- NULL: the whole practice.
    patient_id TEXT REFERENCES patient (id),
    -- Sealed; `reason` itself stays empty.
    reason TEXT NOT NULL,
    reason_sealed BYTEA,
    placed_by TEXT NOT NULL REFERENCES staff (id),
    placed_ms BIGINT NOT NULL,
    -- The first of the two who release it; the second must follow within days.
    asked_by TEXT REFERENCES staff (id),
    asked_ms BIGINT,
    released_by TEXT REFERENCES staff (id),
    released_ms BIGINT,
    CHECK ((asked_by IS NULL) = (asked_ms IS NULL)),
    CHECK ((released_by IS NULL) = (released_ms IS NULL)),
    -- Nobody releases one alone.
    CHECK (released_by IS NULL OR (asked_by IS NOT NULL AND released_by <> asked_by))
);
CREATE INDEX legal_hold_in_force ON legal_hold (practice_id, patient_id) WHERE released_ms IS NULL;
CREATE INDEX legal_hold_by_patient ON legal_hold (patient_id) WHERE patient_id IS NOT NULL;

-- That something went, when, by which rule, and the SHA-256 of what it was. Of whom it was is not in it.
CREATE TABLE tombstone (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    kind TEXT NOT NULL,
    rule TEXT NOT NULL,
    gone_ms BIGINT NOT NULL,
    -- How many rows, and how many photo files whose keys went with them.
    rows_gone BIGINT NOT NULL,
    files_gone BIGINT NOT NULL,
    sha256 TEXT NOT NULL
);
CREATE INDEX tombstone_by_time ON tombstone (practice_id, gone_ms);

-- Photo files whose rows went: nothing opens them any more. They are taken away later than any back-up takes that still carries them.
CREATE TABLE purged_file (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    file TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    PRIMARY KEY (practice_id, file)
);

-- The last line of the record that went for its age; 0: none did. The next line follows from its hash.
ALTER TABLE practice ADD COLUMN audit_start BIGINT NOT NULL DEFAULT 0;
ALTER TABLE practice ADD COLUMN audit_start_sha256 TEXT NOT NULL DEFAULT '';

-- What points at a row is looked for whenever that row goes; without these each time through the whole table.
CREATE INDEX plan_change_by_step ON plan_change (step_id) WHERE step_id IS NOT NULL;
CREATE INDEX plan_change_of_wound ON plan_change (wound_id);
CREATE INDEX strip_attempt_of_wound ON strip_attempt (wound_id);
CREATE INDEX strip_attempt_by_link ON strip_attempt (link_id);
CREATE INDEX strip_attempt_by_check ON strip_attempt (check_id) WHERE check_id IS NOT NULL;
CREATE INDEX calendar_feed_of_link ON calendar_feed (link_id);
CREATE INDEX late_knock_by_link ON late_knock (link_id);
CREATE INDEX late_knock_by_wound ON late_knock (wound_id);
CREATE INDEX message_by_check ON message (check_id) WHERE check_id IS NOT NULL;
CREATE INDEX message_by_review ON message (review_id) WHERE review_id IS NOT NULL;
CREATE INDEX message_by_link ON message (link_id) WHERE link_id IS NOT NULL;
CREATE INDEX callback_by_wound ON callback (wound_id);
CREATE INDEX callback_by_review ON callback (review_id);
CREATE INDEX measurement_of_wound ON measurement (wound_id);
CREATE INDEX measurement_of_check ON measurement (check_id);
CREATE INDEX measurement_of_photo ON measurement (photo_id);
CREATE INDEX silence_of_wound ON silence (wound_id);
CREATE INDEX silence_call_of_silence ON silence_call (silence_id);
CREATE INDEX antibiotic_course_of_wound ON antibiotic_course (wound_id);
CREATE INDEX antibiotic_course_by_review ON antibiotic_course (review_id) WHERE review_id IS NOT NULL;
-- What was written to a patient is found by their links.
CREATE INDEX notice_to ON notice (practice_id, recipient);
-- Two photos may share a rendition: its file goes with the last of them.
CREATE INDEX photo_by_full ON photo (practice_id, full_sha256);
CREATE INDEX photo_by_review ON photo (practice_id, review_sha256);
CREATE INDEX photo_by_small ON photo (practice_id, small_sha256);
