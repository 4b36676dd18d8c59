-- The care plan is moved, paused, resumed and ended by hand; its sentences are the practice's own; taking the strip out
-- has its own pages with times; and a patient link can have a calendar address.

-- Rises with every change of a step: what calendars call its sequence.
ALTER TABLE plan_step ADD COLUMN sequence BIGINT NOT NULL DEFAULT 0;
-- 0: as it was made at enrolment.
ALTER TABLE plan_step ADD COLUMN changed_ms BIGINT NOT NULL DEFAULT 0;
ALTER TABLE plan_step ADD COLUMN cancelled_ms BIGINT;
-- 'paused' comes back when the plan is resumed; 'ended' does not.
ALTER TABLE plan_step ADD COLUMN cancelled_why TEXT;
CREATE INDEX plan_step_open ON plan_step (practice_id, due_ms) WHERE done_ms IS NULL AND cancelled_ms IS NULL;

ALTER TABLE wound ADD COLUMN paused_ms BIGINT;
ALTER TABLE wound ADD COLUMN paused_until_ms BIGINT;
ALTER TABLE wound ADD COLUMN ended_why TEXT;
ALTER TABLE wound ADD COLUMN ended_by TEXT;
ALTER TABLE wound ADD COLUMN ended_ms BIGINT;

-- What staff did to a plan, and why, in their own words. Rows are added and never changed.
CREATE TABLE plan_change (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    -- NULL: about the whole plan.
    step_id TEXT REFERENCES plan_step (id),
    kind TEXT NOT NULL,
    was_ms BIGINT,
    becomes_ms BIGINT,
    reason TEXT NOT NULL,
    staff_id TEXT NOT NULL REFERENCES staff (id),
    at_ms BIGINT NOT NULL
);
CREATE INDEX plan_change_by_wound ON plan_change (practice_id, wound_id, at_ms);

-- The practice's plan text, JSON of plan::PlanText; the newest version is the one in use. None: the program's own.
CREATE TABLE plan_text (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    version BIGINT NOT NULL,
    body TEXT NOT NULL,
    staff_id TEXT NOT NULL REFERENCES staff (id),
    made_ms BIGINT NOT NULL,
    PRIMARY KEY (practice_id, version)
);

-- One try at taking the strip out: when each part began, and what the patient said at the end.
CREATE TABLE strip_attempt (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    form_key TEXT NOT NULL,
    began_ms BIGINT NOT NULL,
    pill_ms BIGINT,
    soak_ms BIGINT,
    pull_ms BIGINT,
    out_ms BIGINT,
    press_ms BIGINT,
    count_ms BIGINT,
    -- triage::StripAnswer; NULL: nothing said yet.
    said TEXT,
    said_ms BIGINT,
    -- As counted by the patient; NULL: not counted.
    pieces BIGINT,
    length_cm BIGINT,
    -- The wound check this became an answer of.
    check_id TEXT REFERENCES wound_check (id)
);
CREATE INDEX strip_attempt_by_wound ON strip_attempt (practice_id, wound_id, began_ms);

-- The secret address under which a calendar program fetches the plan's dates. Only its hash is kept.
CREATE TABLE calendar_feed (
    token_sha256 TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    language TEXT NOT NULL CHECK (language IN ('en', 'es')),
    made_ms BIGINT NOT NULL
);
CREATE UNIQUE INDEX calendar_feed_by_link ON calendar_feed (practice_id, link_id);
