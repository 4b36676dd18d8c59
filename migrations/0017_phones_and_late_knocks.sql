-- The phones that opened a link, told apart in the list of them.
ALTER TABLE patient_session ADD COLUMN browser TEXT NOT NULL DEFAULT '';
-- Somebody else's phone: its session is short, shows no answer and keeps nothing.
ALTER TABLE patient_session ADD COLUMN borrowed BIGINT NOT NULL DEFAULT 0 CHECK (borrowed IN (0, 1));
-- First letters of a name, typed when the link was opened, that are not the patient's; empty: none were typed, or they fit.
ALTER TABLE patient_session ADD COLUMN other_initials TEXT NOT NULL DEFAULT '';

-- The same of the phone a check was sent from.
ALTER TABLE wound_check ADD COLUMN borrowed_phone BIGINT NOT NULL DEFAULT 0 CHECK (borrowed_phone IN (0, 1));
ALTER TABLE wound_check ADD COLUMN other_initials TEXT NOT NULL DEFAULT '';

-- Somebody knocked with a link that is closed. One row for a link until a person has seen to it.
CREATE TABLE late_knock (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    -- What was typed, a line for each time; empty: the link was only tried.
    words TEXT NOT NULL,
    knocks BIGINT NOT NULL,
    first_ms BIGINT NOT NULL,
    last_ms BIGINT NOT NULL,
    -- By when a person is to see to it.
    due_ms BIGINT NOT NULL,
    dealt_ms BIGINT,
    dealt_by TEXT REFERENCES staff (id),
    dealt_note TEXT NOT NULL DEFAULT '',
    CHECK (dealt_ms IS NULL OR dealt_by IS NOT NULL)
);
CREATE UNIQUE INDEX late_knock_open ON late_knock (link_id) WHERE dealt_ms IS NULL;
CREATE INDEX late_knock_by_due ON late_knock (practice_id, due_ms) WHERE dealt_ms IS NULL;
