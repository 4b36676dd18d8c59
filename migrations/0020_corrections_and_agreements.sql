-- What a surgeon noted beside a check or a decision that was wrong. The original stays as it is; rows are added and never
-- changed.
CREATE TABLE correction (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    -- NULL: about the check itself, as it was sent.
    review_id TEXT REFERENCES review (id),
    -- The patient reads this. Sealed; `words` itself stays empty, as in every column of typed text.
    words TEXT NOT NULL,
    words_sealed BYTEA,
    staff_id TEXT NOT NULL REFERENCES staff (id),
    noted_ms BIGINT NOT NULL
);
CREATE INDEX correction_by_wound ON correction (practice_id, wound_id, noted_ms);

-- Two people agree that everything of a practice is taken out, once.
CREATE TABLE export_agreement (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    asked_by TEXT NOT NULL REFERENCES staff (id),
    asked_ms BIGINT NOT NULL,
    -- Nobody can agree, and nobody can take anything, after that.
    until_ms BIGINT NOT NULL,
    agreed_by TEXT REFERENCES staff (id),
    agreed_ms BIGINT,
    -- Of the code that was shown to whoever agreed.
    code_sha256 TEXT,
    -- The code was used.
    taken_ms BIGINT,
    withdrawn_ms BIGINT,
    CHECK (agreed_by IS NULL OR agreed_by <> asked_by),
    CHECK ((agreed_by IS NULL) = (agreed_ms IS NULL)),
    CHECK (taken_ms IS NULL OR agreed_ms IS NOT NULL)
);
CREATE INDEX export_agreement_by_time ON export_agreement (practice_id, asked_ms);
