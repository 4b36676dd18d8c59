-- A wound check that is being filled in step by step, without scripts. It is no check: nobody reads it, and it is
-- deleted when the check is sent, when the patient starts afresh or leaves, or after three days.
CREATE TABLE check_draft (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    -- The phone that typed it: what is typed is shown on no other.
    phone_sha256 TEXT NOT NULL,
    -- The check that comes of it has the same key.
    form_key TEXT NOT NULL,
    -- Names and values in order, as JSON.
    fields TEXT NOT NULL,
    -- Ids of the questions that were shown, as JSON.
    shown TEXT NOT NULL,
    began_ms BIGINT NOT NULL,
    updated_ms BIGINT NOT NULL,
    PRIMARY KEY (link_id, form_key)
);
CREATE INDEX check_draft_by_age ON check_draft (practice_id, updated_ms);
