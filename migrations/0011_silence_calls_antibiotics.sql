-- Something was due and did not come; calls say whom they reached and how; a recorded antibiotic makes steps of its own.

-- One thing that was due from a wound and did not come, until it came or a person ended it.
CREATE TABLE silence (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    kind TEXT NOT NULL,
    -- What was due, such as `step:ID` or `message:ID`.
    about TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'ended')),
    -- When the reminder, and the letter, went; NULL: not yet.
    reminded_ms BIGINT,
    letter_ms BIGINT,
    -- When somebody of the practice last spoke with the patient about it, and what they agreed to wait for.
    spoke_ms BIGINT,
    waits_until_ms BIGINT,
    -- The next step, and by when it must be taken.
    next_step TEXT NOT NULL,
    next_ms BIGINT NOT NULL,
    by_ms BIGINT NOT NULL,
    -- When the surgeon was asked, and what they said is to be done.
    asked_ms BIGINT,
    asked_note TEXT NOT NULL DEFAULT '',
    decided_note TEXT NOT NULL DEFAULT '',
    decided_by TEXT REFERENCES staff (id),
    ended_why TEXT,
    ended_note TEXT NOT NULL DEFAULT '',
    -- NULL: what was due came by itself.
    ended_by TEXT REFERENCES staff (id),
    ended_ms BIGINT,
    begun_ms BIGINT NOT NULL
);
CREATE INDEX silence_open ON silence (practice_id, by_ms) WHERE state = 'open';
-- A thing is missed once at a time.
CREATE UNIQUE INDEX silence_once ON silence (practice_id, kind, about) WHERE state = 'open';
CREATE INDEX silence_by_wound ON silence (practice_id, wound_id);

CREATE TABLE silence_call (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    silence_id TEXT NOT NULL REFERENCES silence (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    whom TEXT NOT NULL,
    result TEXT NOT NULL CHECK (result IN ('no_answer', 'message_left', 'spoke')),
    spoke_with TEXT NOT NULL,
    interpreter TEXT NOT NULL,
    note TEXT NOT NULL,
    at_ms BIGINT NOT NULL
);
CREATE INDEX silence_call_by_silence ON silence_call (practice_id, silence_id, at_ms);

-- Whom an attempt rang, who spoke, and whether an interpreter helped.
ALTER TABLE call_attempt ADD COLUMN whom TEXT NOT NULL DEFAULT 'patient';
ALTER TABLE call_attempt ADD COLUMN spoke_with TEXT NOT NULL DEFAULT '';
ALTER TABLE call_attempt ADD COLUMN interpreter TEXT NOT NULL DEFAULT 'not_needed';
-- A visit the call booked, or where the patient goes.
ALTER TABLE callback ADD COLUMN visit_ms BIGINT;
ALTER TABLE callback ADD COLUMN emergency_place TEXT NOT NULL DEFAULT '';
-- When the caller means to try again; NULL: by the due time.
ALTER TABLE callback ADD COLUMN next_try_ms BIGINT;

-- The patient's own answer to "come in"; NULL: none yet.
ALTER TABLE review ADD COLUMN come_in_answer TEXT;
ALTER TABLE review ADD COLUMN come_in_answered_ms BIGINT;

-- 1: calls with this patient need an interpreter; NULL: by the language alone.
ALTER TABLE patient ADD COLUMN interpreter SMALLINT;
-- 1: a member of the office who may see photos.
ALTER TABLE staff ADD COLUMN sees_photos SMALLINT NOT NULL DEFAULT 0;

-- An antibiotic somebody recorded: prescribed elsewhere, followed here.
CREATE TABLE antibiotic_course (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    -- NULL: from the enrolment.
    review_id TEXT REFERENCES review (id),
    drug TEXT NOT NULL,
    -- NULL: not said.
    doses_per_day BIGINT,
    days BIGINT NOT NULL,
    started_ms BIGINT NOT NULL,
    ends_ms BIGINT NOT NULL,
    -- 'none', 'sent' or 'noted'.
    culture TEXT NOT NULL CHECK (culture IN ('none', 'sent', 'noted')),
    culture_result TEXT NOT NULL DEFAULT '',
    culture_fits TEXT,
    culture_by TEXT REFERENCES staff (id),
    culture_ms BIGINT,
    -- Stopped before its end, or replaced by another.
    stopped_ms BIGINT,
    stopped_why TEXT NOT NULL DEFAULT '',
    recorded_by TEXT NOT NULL REFERENCES staff (id),
    recorded_ms BIGINT NOT NULL
);
CREATE INDEX antibiotic_course_by_wound ON antibiotic_course (practice_id, wound_id, started_ms);
