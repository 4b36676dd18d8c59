-- Work that is due at a time: queued in the transaction of what it follows from, leased by one runner at a time, done in
-- the transaction of what it changes.
CREATE TABLE job (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    kind TEXT NOT NULL,
    -- Id of what it is about: a ladder, a notice, a delivery, the practice.
    about TEXT NOT NULL,
    -- Queued twice under one key it is one job.
    once_key TEXT NOT NULL UNIQUE,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'done', 'failed')),
    due_ms BIGINT NOT NULL,
    tries BIGINT NOT NULL DEFAULT 0,
    -- Whoever claimed it: only under this lease can it be ended or given back.
    lease TEXT NOT NULL DEFAULT '',
    leased_until_ms BIGINT NOT NULL DEFAULT 0,
    -- What went wrong the last time; empty: nothing.
    why TEXT NOT NULL DEFAULT '',
    queued_ms BIGINT NOT NULL,
    ended_ms BIGINT
);
CREATE INDEX job_due ON job (state, due_ms);
CREATE INDEX job_by_practice ON job (practice_id, state, due_ms);
CREATE INDEX job_by_about ON job (about);

-- The latest time that was seen, so that a clock set back is noticed. One row.
CREATE TABLE clock_seen (
    id BIGINT PRIMARY KEY CHECK (id = 1),
    seen_ms BIGINT NOT NULL
);

-- Who is told of something urgent until a person acts. 'replaced': a more urgent ladder goes on in its place.
CREATE TABLE ladder (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- "check:ID" or "callback:ID"
    about TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('go_now', 'ring_now', 'overdue')),
    -- From 1 for each `about`.
    round BIGINT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('running', 'stopped', 'replaced')),
    begun_ms BIGINT NOT NULL,
    ended_ms BIGINT,
    -- Only a person stops a ladder.
    stopped_by TEXT REFERENCES staff (id),
    CHECK (state <> 'stopped' OR stopped_by IS NOT NULL),
    UNIQUE (practice_id, about, round)
);
CREATE UNIQUE INDEX ladder_running ON ladder (practice_id, about) WHERE state = 'running';

CREATE TABLE ladder_rung (
    ladder_id TEXT NOT NULL REFERENCES ladder (id),
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- From 0.
    number BIGINT NOT NULL,
    -- triage::Told
    told TEXT NOT NULL,
    -- How many people or phones were told; 0: nobody was there.
    reached BIGINT NOT NULL,
    fired_ms BIGINT NOT NULL,
    PRIMARY KEY (ladder_id, number)
);

-- Minutes to each rung, JSON; empty: as the program comes.
ALTER TABLE practice ADD COLUMN ladder_times TEXT NOT NULL DEFAULT '';

-- Where a member of staff is reached, first place first.
CREATE TABLE staff_address (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    channel TEXT NOT NULL CHECK (channel IN ('sms', 'voice', 'email', 'push')),
    address TEXT NOT NULL,
    place BIGINT NOT NULL,
    since_ms BIGINT NOT NULL,
    UNIQUE (staff_id, channel, address)
);

-- Addresses that must not be written to any more.
CREATE TABLE opt_out (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    channel TEXT NOT NULL,
    address TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    PRIMARY KEY (practice_id, channel, address)
);

-- 'waiting': nobody was written to yet. 'addressed': deliveries were made of it. 'nobody': there was no address.
-- 'kept': from before anything was sent.
ALTER TABLE notice ADD COLUMN state TEXT NOT NULL DEFAULT 'waiting';
UPDATE notice SET state = 'kept';

-- One notice on its way to one address.
CREATE TABLE delivery (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    notice_id TEXT NOT NULL REFERENCES notice (id),
    channel TEXT NOT NULL,
    address TEXT NOT NULL,
    -- What is said; deliveries to one address that say the same go in one letter.
    language TEXT NOT NULL,
    subject TEXT NOT NULL,
    body TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'delivered', 'dead')),
    tries BIGINT NOT NULL DEFAULT 0,
    -- The delivery whose letter carried this one too.
    sent_with TEXT,
    provider_id TEXT,
    why TEXT NOT NULL DEFAULT '',
    queued_ms BIGINT NOT NULL,
    sent_ms BIGINT,
    delivered_ms BIGINT,
    UNIQUE (notice_id, channel, address)
);
CREATE INDEX delivery_by_state ON delivery (practice_id, state, queued_ms);

-- Something a person must see to: unopened, overdue, unsent, unwatched.
CREATE TABLE alarm (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    kind TEXT NOT NULL,
    about TEXT NOT NULL,
    begun_ms BIGINT NOT NULL,
    -- The last time it was found to be still so.
    seen_ms BIGINT NOT NULL,
    taken_by TEXT REFERENCES staff (id),
    taken_ms BIGINT,
    ended_ms BIGINT
);
CREATE UNIQUE INDEX alarm_open ON alarm (practice_id, kind, about) WHERE ended_ms IS NULL;
