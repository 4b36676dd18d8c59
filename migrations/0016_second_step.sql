-- Signing in takes two steps: a password, then a passkey, a code of an authenticator app, or a printed recovery code.

-- Whoever is signed in does so again.
DROP TABLE staff_session;
CREATE TABLE staff_session (
    token_sha256 TEXT PRIMARY KEY,
    -- Named in the list of sessions, where the token's hash has no place.
    id TEXT NOT NULL UNIQUE,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    -- Half: the password was right, and nothing opens yet.
    stage TEXT NOT NULL CHECK (stage IN ('half', 'whole')),
    created_ms BIGINT NOT NULL,
    last_seen_ms BIGINT NOT NULL,
    -- When its holder last proved who they are; what is sensitive asks for it anew.
    fresh_ms BIGINT NOT NULL,
    -- Which kind of browser it was begun in, such as "Firefox on Windows".
    browser TEXT NOT NULL,
    -- What a passkey was asked to sign, and until when; NULL: nothing is asked.
    ceremony TEXT,
    ceremony_until_ms BIGINT
);
CREATE INDEX staff_session_by_staff ON staff_session (practice_id, staff_id);

CREATE TABLE passkey (
    credential_id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    -- What its owner calls it.
    name TEXT NOT NULL,
    -- The public key, and how often it signed, as JSON.
    credential TEXT NOT NULL,
    created_ms BIGINT NOT NULL,
    last_used_ms BIGINT
);
CREATE INDEX passkey_by_staff ON passkey (practice_id, staff_id);

CREATE TABLE authenticator (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL PRIMARY KEY REFERENCES staff (id),
    sealed_seed BYTEA NOT NULL,
    since_ms BIGINT NOT NULL,
    -- The last step of thirty seconds a code was taken for: no code is taken twice.
    last_step BIGINT NOT NULL
);

CREATE TABLE recovery_code (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    place BIGINT NOT NULL,
    phc TEXT NOT NULL,
    used_ms BIGINT,
    PRIMARY KEY (staff_id, place)
);

-- Browsers in which somebody signed in before: a stranger's wrong tries do not make them wait.
CREATE TABLE known_browser (
    token_sha256 TEXT NOT NULL,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    failed_sign_ins BIGINT NOT NULL DEFAULT 0,
    next_try_ms BIGINT NOT NULL DEFAULT 0,
    last_sign_in_ms BIGINT NOT NULL,
    PRIMARY KEY (token_sha256, staff_id)
);

-- Tries with a name nobody has: they wait like all others. By the first two bytes of the name's SHA-256, so that no flood
-- of names fills the books.
CREATE TABLE unknown_name (
    bucket BIGINT PRIMARY KEY,
    failed_sign_ins BIGINT NOT NULL,
    next_try_ms BIGINT NOT NULL
);

-- When somebody else took the second step away, so that they could set up a new one; NULL: nobody did.
ALTER TABLE staff ADD COLUMN re_enrolled_ms BIGINT;
ALTER TABLE staff ADD COLUMN re_enrolled_by TEXT;
