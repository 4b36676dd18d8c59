-- Portable SQL: the same text runs on SQLite and PostgreSQL. Ids are UUID v7 as TEXT, times are epoch milliseconds
-- (BIGINT, names end in _ms), flags are SMALLINT 0/1, structured records are JSON as TEXT. Every row belongs to a practice.

CREATE TABLE practice (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    phone TEXT NOT NULL,
    emergency_number TEXT NOT NULL,
    time_zone TEXT NOT NULL,
    paper TEXT NOT NULL CHECK (paper IN ('a4', 'letter')),
    opens_minute BIGINT NOT NULL CHECK (opens_minute BETWEEN 0 AND 1440),
    closes_minute BIGINT NOT NULL CHECK (closes_minute BETWEEN 0 AND 1440),
    -- The last number given out; taking the next one locks the practice's row, so numbers have no gaps or doubles.
    check_sequence BIGINT NOT NULL DEFAULT 0,
    audit_sequence BIGINT NOT NULL DEFAULT 0,
    audit_head TEXT NOT NULL DEFAULT '',
    created_ms BIGINT NOT NULL
);

CREATE TABLE staff (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    name TEXT NOT NULL,
    sign_in_name TEXT NOT NULL UNIQUE,
    password_phc TEXT NOT NULL,
    is_surgeon SMALLINT NOT NULL CHECK (is_surgeon IN (0, 1)),
    is_office SMALLINT NOT NULL CHECK (is_office IN (0, 1)),
    is_lead SMALLINT NOT NULL CHECK (is_lead IN (0, 1)),
    active SMALLINT NOT NULL CHECK (active IN (0, 1)),
    failed_sign_ins BIGINT NOT NULL DEFAULT 0,
    next_try_ms BIGINT NOT NULL DEFAULT 0,
    created_ms BIGINT NOT NULL
);
CREATE INDEX staff_by_practice ON staff (practice_id, name);

CREATE TABLE staff_session (
    token_sha256 TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    created_ms BIGINT NOT NULL,
    last_seen_ms BIGINT NOT NULL
);
CREATE INDEX staff_session_by_staff ON staff_session (staff_id);

-- The one-time address at which the first staff member makes their own account.
CREATE TABLE set_up (
    token_sha256 TEXT PRIMARY KEY,
    expires_ms BIGINT NOT NULL,
    used_ms BIGINT
);

CREATE TABLE patient (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    name TEXT NOT NULL,
    -- Lower case, accents folded: what the search looks in.
    name_folded TEXT NOT NULL,
    born TEXT NOT NULL,
    phone TEXT NOT NULL,
    language TEXT NOT NULL CHECK (language IN ('en', 'es')),
    helper_name TEXT,
    helper_phone TEXT,
    created_ms BIGINT NOT NULL
);
CREATE INDEX patient_by_name ON patient (practice_id, name_folded);

CREATE TABLE wound (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    patient_id TEXT NOT NULL REFERENCES patient (id),
    surgeon_id TEXT NOT NULL REFERENCES staff (id),
    -- plan::Operation and plan::RiskFactors
    operation TEXT NOT NULL,
    risk_factors TEXT NOT NULL,
    operated_ms BIGINT NOT NULL,
    strip_out_ms BIGINT,
    state TEXT NOT NULL CHECK (state IN ('open', 'closed')),
    last_check_ms BIGINT,
    -- The form key of the enrolment: a doubled send enrols once.
    enrol_key TEXT NOT NULL,
    created_ms BIGINT NOT NULL,
    UNIQUE (practice_id, enrol_key)
);
CREATE INDEX wound_by_patient ON wound (patient_id);
CREATE INDEX wound_open ON wound (practice_id, operated_ms) WHERE state = 'open';

CREATE TABLE plan_step (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    kind TEXT NOT NULL,
    from_ms BIGINT NOT NULL,
    due_ms BIGINT NOT NULL,
    done_ms BIGINT
);
CREATE INDEX plan_step_by_wound ON plan_step (wound_id, from_ms);

CREATE TABLE patient_link (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    name TEXT NOT NULL,
    token_sha256 TEXT NOT NULL UNIQUE,
    -- The typed code: its first four letters find the row, the rest is checked against the hash.
    code_locator TEXT NOT NULL UNIQUE,
    code_phc TEXT NOT NULL,
    pin_phc TEXT NOT NULL,
    wrong_pins BIGINT NOT NULL DEFAULT 0,
    next_pin_ms BIGINT NOT NULL DEFAULT 0,
    expires_ms BIGINT NOT NULL,
    revoked_ms BIGINT,
    first_used_ms BIGINT,
    created_ms BIGINT NOT NULL
);
CREATE INDEX patient_link_by_wound ON patient_link (wound_id);

-- A phone that opened a patient link. Sending needs only this; `reading_until_ms` is set by the PIN.
CREATE TABLE patient_session (
    token_sha256 TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    language TEXT NOT NULL CHECK (language IN ('en', 'es')),
    created_ms BIGINT NOT NULL,
    expires_ms BIGINT NOT NULL,
    reading_until_ms BIGINT NOT NULL DEFAULT 0
);
CREATE INDEX patient_session_by_link ON patient_session (link_id);

CREATE TABLE wound_check (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    sequence BIGINT NOT NULL,
    form_key TEXT NOT NULL,
    receipt TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('queued', 'in_review', 'awaiting_call', 'closed')),
    received_ms BIGINT NOT NULL,
    -- triage::Answers as last sent, and triage::Assessment.
    answers TEXT NOT NULL,
    assessment TEXT NOT NULL,
    protocol_version TEXT NOT NULL,
    urgency BIGINT NOT NULL CHECK (urgency BETWEEN 0 AND 4),
    score BIGINT NOT NULL CHECK (score BETWEEN 0 AND 100),
    due_ms BIGINT NOT NULL,
    photos_expected BIGINT NOT NULL,
    claimed_by TEXT REFERENCES staff (id),
    claimed_until_ms BIGINT,
    closed_ms BIGINT,
    UNIQUE (link_id, form_key),
    UNIQUE (practice_id, sequence)
);
CREATE UNIQUE INDEX wound_check_by_receipt ON wound_check (practice_id, receipt);
CREATE INDEX wound_check_waiting ON wound_check (practice_id, urgency, due_ms, sequence) WHERE state <> 'closed';
CREATE INDEX wound_check_by_wound ON wound_check (wound_id, sequence);

-- Everything a form with one key ever said; a later, different body is an amendment, never dropped.
CREATE TABLE answers_version (
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    practice_id TEXT NOT NULL REFERENCES practice (id),
    version BIGINT NOT NULL,
    received_ms BIGINT NOT NULL,
    body_sha256 TEXT NOT NULL,
    answers TEXT NOT NULL,
    PRIMARY KEY (check_id, version),
    UNIQUE (check_id, body_sha256)
);

CREATE TABLE photo (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    position BIGINT NOT NULL CHECK (position BETWEEN 1 AND 6),
    sent_sha256 TEXT NOT NULL,
    -- Names of the renditions' blobs: their own SHA-256, 64 hex letters. NULL when the picture could not be read.
    full_sha256 TEXT,
    review_sha256 TEXT,
    small_sha256 TEXT,
    width_px BIGINT,
    height_px BIGINT,
    -- The middle of the wound as tapped, in 1/10,000 of the displayed width and height.
    tap_x BIGINT,
    tap_y BIGINT,
    -- Codes of quality flags, or of the refusal, as a JSON list.
    flags TEXT NOT NULL,
    received_ms BIGINT NOT NULL,
    UNIQUE (check_id, sent_sha256)
);
CREATE INDEX photo_by_check ON photo (check_id, position);

CREATE TABLE review (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    surgeon_id TEXT NOT NULL REFERENCES staff (id),
    decision TEXT NOT NULL,
    -- For `come_in`: when.
    come_in_ms BIGINT,
    -- Only for staff.
    note TEXT NOT NULL,
    urgency_shown BIGINT NOT NULL,
    decided_ms BIGINT NOT NULL
);
CREATE INDEX review_by_check ON review (check_id, decided_ms);

-- The thread of one wound.
CREATE TABLE message (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    check_id TEXT REFERENCES wound_check (id),
    review_id TEXT REFERENCES review (id),
    sender TEXT NOT NULL CHECK (sender IN ('patient', 'practice')),
    staff_id TEXT REFERENCES staff (id),
    link_id TEXT REFERENCES patient_link (id),
    form_key TEXT,
    body TEXT NOT NULL,
    sent_ms BIGINT NOT NULL,
    -- "I have read this", pressed by the patient; for a patient's message: dealt with by staff.
    read_ms BIGINT
);
CREATE INDEX message_by_wound ON message (wound_id, sent_ms);
CREATE UNIQUE INDEX message_by_form ON message (link_id, form_key) WHERE form_key IS NOT NULL;

CREATE TABLE callback (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    review_id TEXT NOT NULL REFERENCES review (id),
    urgency BIGINT NOT NULL CHECK (urgency BETWEEN 0 AND 4),
    reason TEXT NOT NULL,
    ask TEXT NOT NULL,
    due_ms BIGINT NOT NULL,
    missed BIGINT NOT NULL DEFAULT 0,
    state TEXT NOT NULL CHECK (state IN ('open', 'handed_back', 'closed')),
    outcome TEXT,
    hand_back_note TEXT NOT NULL DEFAULT '',
    closed_by TEXT REFERENCES staff (id),
    closed_ms BIGINT,
    created_ms BIGINT NOT NULL
);
CREATE INDEX callback_open ON callback (practice_id, urgency, due_ms) WHERE state = 'open';
CREATE INDEX callback_by_check ON callback (check_id);

CREATE TABLE call_attempt (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    callback_id TEXT NOT NULL REFERENCES callback (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    result TEXT NOT NULL CHECK (result IN ('no_answer', 'message_left', 'spoke')),
    note TEXT NOT NULL,
    at_ms BIGINT NOT NULL
);
CREATE INDEX call_attempt_by_callback ON call_attempt (callback_id, at_ms);

CREATE TABLE reply_text (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    decision TEXT NOT NULL,
    title TEXT NOT NULL,
    body_en TEXT NOT NULL,
    body_es TEXT NOT NULL,
    position BIGINT NOT NULL,
    changed_ms BIGINT NOT NULL
);
CREATE INDEX reply_text_by_practice ON reply_text (practice_id, position);

-- Who did or saw what, chained by hash: each line's hash covers the one before it.
CREATE TABLE audit (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    sequence BIGINT NOT NULL,
    at_ms BIGINT NOT NULL,
    actor TEXT NOT NULL,
    action TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail TEXT NOT NULL,
    previous_sha256 TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (practice_id, sequence)
);
CREATE INDEX audit_by_subject ON audit (practice_id, subject);

-- Notices waiting to be sent, written in the same transaction as what they tell of.
CREATE TABLE notice (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    kind TEXT NOT NULL,
    recipient TEXT NOT NULL,
    about TEXT NOT NULL,
    once_key TEXT NOT NULL UNIQUE,
    due_ms BIGINT NOT NULL,
    sent_ms BIGINT
);
CREATE INDEX notice_waiting ON notice (due_ms) WHERE sent_ms IS NULL;
