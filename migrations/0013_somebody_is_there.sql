-- Whether somebody is there: pages that answer, days on which somebody signed in, alarms told again and again, drills, and
-- a canary that goes the whole way of a check.

-- 'canary': the program's own, with nobody's patients; no list and no figure shows it.
ALTER TABLE practice ADD COLUMN purpose TEXT NOT NULL DEFAULT 'care' CHECK (purpose IN ('care', 'canary'));
CREATE UNIQUE INDEX practice_canary ON practice (purpose) WHERE purpose <> 'care';
-- A check that has waited longer than this is an alarm, whenever it is due.
ALTER TABLE practice ADD COLUMN queue_oldest_hours BIGINT NOT NULL DEFAULT 72 CHECK (queue_oldest_hours BETWEEN 1 AND 168);
-- When the weekly drill begins, in the practice's own clock; NULL: by hand only. 1: Monday.
ALTER TABLE practice ADD COLUMN drill_weekday BIGINT CHECK (drill_weekday BETWEEN 1 AND 7);
ALTER TABLE practice ADD COLUMN drill_minute BIGINT CHECK (drill_minute BETWEEN 0 AND 1439);

-- 0: never.
ALTER TABLE staff ADD COLUMN last_sign_in_ms BIGINT NOT NULL DEFAULT 0;

-- How often somebody was written to about it, and when last.
ALTER TABLE alarm ADD COLUMN told BIGINT NOT NULL DEFAULT 0;
ALTER TABLE alarm ADD COLUMN told_ms BIGINT;

-- The last time a page of this person answered a beat of the live line.
CREATE TABLE page_beat (
    staff_id TEXT PRIMARY KEY REFERENCES staff (id),
    practice_id TEXT NOT NULL REFERENCES practice (id),
    heard_ms BIGINT NOT NULL
);
CREATE INDEX page_beat_by_practice ON page_beat (practice_id, heard_ms);

-- A drill: a ladder about nobody, until a person opens it.
CREATE TABLE drill (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- NULL: by the calendar.
    begun_by TEXT REFERENCES staff (id),
    begun_ms BIGINT NOT NULL,
    answered_by TEXT REFERENCES staff (id),
    answered_ms BIGINT,
    CHECK ((answered_by IS NULL) = (answered_ms IS NULL))
);
CREATE INDEX drill_by_time ON drill (practice_id, begun_ms);
CREATE UNIQUE INDEX drill_running ON drill (practice_id) WHERE answered_ms IS NULL;

-- The canary under way, and when the last one came through.
CREATE TABLE canary (
    practice_id TEXT PRIMARY KEY REFERENCES practice (id),
    begun_ms BIGINT NOT NULL,
    -- NULL: none is under way.
    check_id TEXT,
    came_through_ms BIGINT
);

-- What the program keeps of itself: the last probe of the disk, the number of the last sign of life.
CREATE TABLE server_state (
    name TEXT PRIMARY KEY,
    value BIGINT NOT NULL
);
