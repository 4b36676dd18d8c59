-- What the disk does to a row is seen: `row_sum` is the SHA-256 of everything else in it. '': it has none yet; the daily look at the
-- books sums it.

ALTER TABLE practice ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE staff ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE patient ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE wound ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE plan_step ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE plan_change ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE plan_text ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE strip_attempt ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE patient_link ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE late_knock ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE wound_check ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE answers_version ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE assessment ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE photo ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE measurement ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE review ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE message ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE callback ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE call_attempt ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE correction ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE antibiotic_course ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE silence ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE silence_call ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE protocol ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE reply_text ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE ladder ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE ladder_rung ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE job ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE notice ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE delivery ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE staff_address ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE opt_out ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE practice_hours ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE holiday ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE duty_weekly ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE duty_dated ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE duty_away ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE legal_hold ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE keeping ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE tombstone ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE sealed_look ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
ALTER TABLE export_agreement ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';

-- Rows that were written in the transaction at hand, noted by triggers of the engine. They are summed, and go from here, before it
-- commits: outside a transaction this is empty.
CREATE TABLE unsummed (
    table_name TEXT NOT NULL,
    first_key TEXT NOT NULL,
    second_key TEXT NOT NULL
);
