-- Every protocol a check was ever assessed by, so that an old assessment explains itself for ever.
CREATE TABLE protocol (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    version TEXT NOT NULL,
    -- Order of coming, from 1 within the practice.
    number BIGINT NOT NULL,
    -- 'program': came with the program. 'practice': approved here.
    origin TEXT NOT NULL CHECK (origin IN ('program', 'practice')),
    -- The protocol's file.
    text TEXT NOT NULL,
    in_force_ms BIGINT NOT NULL,
    -- care::protocols::Approval, JSON: who, when, why. Empty list for the program's own.
    approvals TEXT NOT NULL,
    PRIMARY KEY (practice_id, version),
    UNIQUE (practice_id, number)
);

-- A change that is being thought about: at most one for each practice.
CREATE TABLE protocol_draft (
    practice_id TEXT PRIMARY KEY REFERENCES practice (id),
    based_on TEXT NOT NULL,
    -- triage::Edits, JSON.
    edits TEXT NOT NULL,
    changed_by TEXT NOT NULL REFERENCES staff (id),
    changed_ms BIGINT NOT NULL,
    -- The last finished trial of exactly these edits, JSON; NULL: not tried yet.
    trial TEXT,
    -- Approvals given so far, JSON.
    approvals TEXT NOT NULL
);

-- Every assessment a check ever had: the first, and one for each amendment or photo that changed it.
CREATE TABLE assessment (
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- From 1 within the check.
    number BIGINT NOT NULL,
    made_ms BIGINT NOT NULL,
    protocol_version TEXT NOT NULL,
    -- triage::CheckFacts, JSON; NULL for those made before facts were kept.
    facts TEXT,
    -- triage::Assessment, JSON.
    assessment TEXT NOT NULL,
    PRIMARY KEY (check_id, number)
);

-- The facts of the assessment in force, for trying another protocol on them; NULL: received before facts were kept.
ALTER TABLE wound_check ADD COLUMN facts TEXT;

INSERT INTO assessment (check_id, practice_id, number, made_ms, protocol_version, facts, assessment)
    SELECT id, practice_id, 1, received_ms, protocol_version, NULL, assessment FROM wound_check;
