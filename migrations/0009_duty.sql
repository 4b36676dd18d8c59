-- Who answers when.

-- The practice's hours, one row for each weekday; no rows at all: practice.opens_minute to closes_minute, Monday to Friday.
CREATE TABLE practice_hours (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- 1: Monday, 7: Sunday.
    weekday BIGINT NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    -- Local minutes after midnight; equal: closed that day.
    from_minute BIGINT NOT NULL CHECK (from_minute BETWEEN 0 AND 1440),
    until_minute BIGINT NOT NULL CHECK (until_minute BETWEEN 0 AND 1440),
    PRIMARY KEY (practice_id, weekday)
);
INSERT INTO practice_hours (practice_id, weekday, from_minute, until_minute)
    SELECT practice.id, day.weekday,
        CASE WHEN day.weekday <= 5 AND opens_minute < closes_minute THEN opens_minute ELSE 0 END,
        CASE WHEN day.weekday <= 5 AND opens_minute < closes_minute THEN closes_minute ELSE 0 END
    FROM practice CROSS JOIN (SELECT 1 AS weekday UNION ALL SELECT 2 UNION ALL SELECT 3 UNION ALL SELECT 4
        UNION ALL SELECT 5 UNION ALL SELECT 6 UNION ALL SELECT 7) day;

-- Days on which the practice is closed whatever the weekday.
CREATE TABLE holiday (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- As in 2026-12-25, in the practice's own calendar.
    day TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (practice_id, day)
);

-- Shifts of every week, in the practice's own clock.
CREATE TABLE duty_weekly (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    rank TEXT NOT NULL CHECK (rank IN ('first', 'second')),
    weekday BIGINT NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    from_minute BIGINT NOT NULL CHECK (from_minute BETWEEN 0 AND 1439),
    -- Not after from_minute: it ends the next day.
    until_minute BIGINT NOT NULL CHECK (until_minute BETWEEN 0 AND 1440),
    created_ms BIGINT NOT NULL
);
CREATE INDEX duty_weekly_by_practice ON duty_weekly (practice_id, weekday, from_minute);

-- Shifts on dates: they stand over the weekly pattern, a later entered one over an earlier.
CREATE TABLE duty_dated (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    rank TEXT NOT NULL CHECK (rank IN ('first', 'second')),
    from_ms BIGINT NOT NULL,
    until_ms BIGINT NOT NULL,
    -- Whose duty it takes over; NULL: it replaces the pattern for its time and rank.
    instead_of TEXT REFERENCES staff (id),
    -- The first half of the swap this is a half of; NULL: no swap. Halves are taken back together.
    swap_id TEXT,
    -- Order of entry within the practice.
    entered BIGINT NOT NULL,
    created_ms BIGINT NOT NULL,
    UNIQUE (practice_id, entered)
);
CREATE INDEX duty_dated_by_end ON duty_dated (practice_id, until_ms);

-- Who is away: no duty of theirs counts meanwhile.
CREATE TABLE duty_away (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    staff_id TEXT NOT NULL REFERENCES staff (id),
    from_ms BIGINT NOT NULL,
    until_ms BIGINT NOT NULL,
    created_ms BIGINT NOT NULL
);
CREATE INDEX duty_away_by_end ON duty_away (practice_id, until_ms);
