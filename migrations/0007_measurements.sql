-- What each photo says about its wound in millimetres. Rows are added and never changed: a new method's measurement
-- stands beside the old one, a hand-made one beside the program's.
CREATE TABLE measurement (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    wound_id TEXT NOT NULL REFERENCES wound (id),
    check_id TEXT NOT NULL REFERENCES wound_check (id),
    photo_id TEXT NOT NULL REFERENCES photo (id),
    -- NULL: made by the program.
    staff_id TEXT REFERENCES staff (id),
    -- Version of the method.
    method TEXT NOT NULL,
    -- Which cards counted and how large they were printed: another answer may come of another card.
    cards TEXT NOT NULL,
    taken_ms BIGINT NOT NULL,
    made_ms BIGINT NOT NULL,
    -- wound::Measurement, JSON.
    measurement TEXT NOT NULL
);
-- The program measures a photo once with one method and one card; a second try keeps nothing.
CREATE UNIQUE INDEX measurement_by_program ON measurement (photo_id, method, cards) WHERE staff_id IS NULL;
CREATE INDEX measurement_by_wound ON measurement (practice_id, wound_id, taken_ms);
CREATE INDEX measurement_by_photo ON measurement (practice_id, photo_id);

-- Photos that wait to be measured: written with the photo, gone with its measurement.
CREATE TABLE measuring_job (
    photo_id TEXT PRIMARY KEY REFERENCES photo (id),
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- 'received': the photo came in. 'again': the past is measured under a new method.
    why TEXT NOT NULL CHECK (why IN ('received', 'again')),
    queued_ms BIGINT NOT NULL,
    -- Not tried before.
    due_ms BIGINT NOT NULL,
    tries BIGINT NOT NULL DEFAULT 0,
    -- Somebody is at it until then.
    leased_until_ms BIGINT NOT NULL DEFAULT 0
);
CREATE INDEX measuring_job_due ON measuring_job (due_ms);

-- The practice can switch measuring off, print cards with ids of its own, and say how large they came out of its printer.
ALTER TABLE practice ADD COLUMN measuring TEXT NOT NULL DEFAULT 'on';
ALTER TABLE practice ADD COLUMN card_id_first BIGINT NOT NULL DEFAULT 0;
ALTER TABLE practice ADD COLUMN card_id_last BIGINT NOT NULL DEFAULT 0;
-- Edge of the marker's black square as measured on a printed card, micrometres.
ALTER TABLE practice ADD COLUMN card_tag_edge_um BIGINT NOT NULL DEFAULT 20000;

-- Read from the file before its metadata are dropped. Focal length as if on 35 mm film, micrometres; NULL: not said.
ALTER TABLE photo ADD COLUMN focal_35mm_um BIGINT;
-- Local time on the camera's clock, as in 2026-03-10T09:12:00; NULL: not said.
ALTER TABLE photo ADD COLUMN camera_time TEXT;
