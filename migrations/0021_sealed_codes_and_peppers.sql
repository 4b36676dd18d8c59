-- A code in a sealed envelope: whoever opens it may look, for an hour, at what waits, and changes nothing.
CREATE TABLE sealed_code (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- The first letters find the row; of the others only a hash is kept.
    code_locator TEXT NOT NULL UNIQUE,
    phc TEXT NOT NULL,
    printed_by TEXT NOT NULL REFERENCES staff (id),
    printed_ms BIGINT NOT NULL,
    -- It was opened, or another was printed in its place; NULL: it stands.
    ended_ms BIGINT
);
CREATE UNIQUE INDEX sealed_code_standing ON sealed_code (practice_id) WHERE ended_ms IS NULL;

-- One use of such a code.
CREATE TABLE sealed_look (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    code_id TEXT NOT NULL UNIQUE REFERENCES sealed_code (id),
    token_sha256 TEXT NOT NULL UNIQUE,
    -- As typed by whoever opened the envelope.
    name TEXT NOT NULL,
    -- Sealed; `reason` and `note` themselves stay empty.
    reason TEXT NOT NULL,
    reason_sealed BYTEA,
    -- Which kind of browser, such as "Firefox on Windows".
    browser TEXT NOT NULL,
    began_ms BIGINT NOT NULL,
    until_ms BIGINT NOT NULL,
    -- A lead ended it before its time; NULL: it ends by itself.
    ended_ms BIGINT,
    ended_by TEXT REFERENCES staff (id),
    -- What a lead found out about it; NULL: nobody has noted it yet.
    noted_ms BIGINT,
    noted_by TEXT REFERENCES staff (id),
    note TEXT NOT NULL DEFAULT '',
    note_sealed BYTEA,
    CHECK (ended_ms IS NULL OR ended_by IS NOT NULL),
    CHECK (noted_ms IS NULL OR noted_by IS NOT NULL)
);
CREATE INDEX sealed_look_by_practice ON sealed_look (practice_id, began_ms);

-- Mixed into the hashes of PINs, and sealed by the keys outside the books: the books alone do not let anybody try PINs.
-- NULL: none was needed yet.
ALTER TABLE practice ADD COLUMN sealed_pin_pepper BYTEA;
-- Whether the PIN's hash has it in it; one from before gets it with the next right PIN.
ALTER TABLE patient_link ADD COLUMN pin_peppered BIGINT NOT NULL DEFAULT 0 CHECK (pin_peppered IN (0, 1));
