-- What the disk does to a row is seen: `row_sum` is the SHA-256 of everything else in it. '': written in the transaction at hand, which
-- sums it before it commits. '-': written before there were sums; the daily look at the books sums it. What an UPDATE changes
-- loses its sum by a trigger of the engine, and gets another at the commit.

ALTER TABLE practice ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE practice SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX practice_unsummed ON practice (row_sum) WHERE row_sum < '0';

ALTER TABLE staff ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE staff SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX staff_unsummed ON staff (row_sum) WHERE row_sum < '0';

ALTER TABLE patient ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE patient SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX patient_unsummed ON patient (row_sum) WHERE row_sum < '0';

ALTER TABLE wound ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE wound SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX wound_unsummed ON wound (row_sum) WHERE row_sum < '0';

ALTER TABLE plan_step ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE plan_step SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX plan_step_unsummed ON plan_step (row_sum) WHERE row_sum < '0';

ALTER TABLE plan_change ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE plan_change SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX plan_change_unsummed ON plan_change (row_sum) WHERE row_sum < '0';

ALTER TABLE plan_text ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE plan_text SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX plan_text_unsummed ON plan_text (row_sum) WHERE row_sum < '0';

ALTER TABLE strip_attempt ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE strip_attempt SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX strip_attempt_unsummed ON strip_attempt (row_sum) WHERE row_sum < '0';

ALTER TABLE patient_link ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE patient_link SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX patient_link_unsummed ON patient_link (row_sum) WHERE row_sum < '0';

ALTER TABLE late_knock ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE late_knock SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX late_knock_unsummed ON late_knock (row_sum) WHERE row_sum < '0';

ALTER TABLE wound_check ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE wound_check SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX wound_check_unsummed ON wound_check (row_sum) WHERE row_sum < '0';

ALTER TABLE answers_version ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE answers_version SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX answers_version_unsummed ON answers_version (row_sum) WHERE row_sum < '0';

ALTER TABLE assessment ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE assessment SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX assessment_unsummed ON assessment (row_sum) WHERE row_sum < '0';

ALTER TABLE photo ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE photo SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX photo_unsummed ON photo (row_sum) WHERE row_sum < '0';

ALTER TABLE measurement ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE measurement SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX measurement_unsummed ON measurement (row_sum) WHERE row_sum < '0';

ALTER TABLE review ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE review SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX review_unsummed ON review (row_sum) WHERE row_sum < '0';

ALTER TABLE message ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE message SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX message_unsummed ON message (row_sum) WHERE row_sum < '0';

ALTER TABLE callback ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE callback SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX callback_unsummed ON callback (row_sum) WHERE row_sum < '0';

ALTER TABLE call_attempt ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE call_attempt SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX call_attempt_unsummed ON call_attempt (row_sum) WHERE row_sum < '0';

ALTER TABLE correction ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE correction SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX correction_unsummed ON correction (row_sum) WHERE row_sum < '0';

ALTER TABLE antibiotic_course ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE antibiotic_course SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX antibiotic_course_unsummed ON antibiotic_course (row_sum) WHERE row_sum < '0';

ALTER TABLE silence ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE silence SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX silence_unsummed ON silence (row_sum) WHERE row_sum < '0';

ALTER TABLE silence_call ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE silence_call SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX silence_call_unsummed ON silence_call (row_sum) WHERE row_sum < '0';

ALTER TABLE protocol ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE protocol SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX protocol_unsummed ON protocol (row_sum) WHERE row_sum < '0';

ALTER TABLE reply_text ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE reply_text SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX reply_text_unsummed ON reply_text (row_sum) WHERE row_sum < '0';

ALTER TABLE ladder ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE ladder SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX ladder_unsummed ON ladder (row_sum) WHERE row_sum < '0';

ALTER TABLE ladder_rung ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE ladder_rung SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX ladder_rung_unsummed ON ladder_rung (row_sum) WHERE row_sum < '0';

ALTER TABLE job ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE job SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX job_unsummed ON job (row_sum) WHERE row_sum < '0';

ALTER TABLE notice ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE notice SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX notice_unsummed ON notice (row_sum) WHERE row_sum < '0';

ALTER TABLE delivery ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE delivery SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX delivery_unsummed ON delivery (row_sum) WHERE row_sum < '0';

ALTER TABLE staff_address ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE staff_address SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX staff_address_unsummed ON staff_address (row_sum) WHERE row_sum < '0';

ALTER TABLE opt_out ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE opt_out SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX opt_out_unsummed ON opt_out (row_sum) WHERE row_sum < '0';

ALTER TABLE practice_hours ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE practice_hours SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX practice_hours_unsummed ON practice_hours (row_sum) WHERE row_sum < '0';

ALTER TABLE holiday ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE holiday SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX holiday_unsummed ON holiday (row_sum) WHERE row_sum < '0';

ALTER TABLE duty_weekly ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE duty_weekly SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX duty_weekly_unsummed ON duty_weekly (row_sum) WHERE row_sum < '0';

ALTER TABLE duty_dated ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE duty_dated SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX duty_dated_unsummed ON duty_dated (row_sum) WHERE row_sum < '0';

ALTER TABLE duty_away ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE duty_away SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX duty_away_unsummed ON duty_away (row_sum) WHERE row_sum < '0';

ALTER TABLE legal_hold ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE legal_hold SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX legal_hold_unsummed ON legal_hold (row_sum) WHERE row_sum < '0';

ALTER TABLE keeping ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE keeping SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX keeping_unsummed ON keeping (row_sum) WHERE row_sum < '0';

ALTER TABLE tombstone ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE tombstone SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX tombstone_unsummed ON tombstone (row_sum) WHERE row_sum < '0';

ALTER TABLE sealed_look ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE sealed_look SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX sealed_look_unsummed ON sealed_look (row_sum) WHERE row_sum < '0';

ALTER TABLE export_agreement ADD COLUMN row_sum TEXT NOT NULL DEFAULT '';
UPDATE export_agreement SET row_sum = '-' WHERE row_sum = '';
CREATE INDEX export_agreement_unsummed ON export_agreement (row_sum) WHERE row_sum < '0';
