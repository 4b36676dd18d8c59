-- What people type freely is sealed: `x_sealed` holds the words of `x`, sealed for their own row and no other; `x` is then
-- empty. What still stands in `x` was typed before this; the program seals it after its next start. NULL: nothing was typed.
ALTER TABLE message ADD COLUMN body_sealed BYTEA;
ALTER TABLE review ADD COLUMN note_sealed BYTEA;
ALTER TABLE callback ADD COLUMN ask_sealed BYTEA;
ALTER TABLE callback ADD COLUMN hand_back_note_sealed BYTEA;
ALTER TABLE callback ADD COLUMN emergency_place_sealed BYTEA;
ALTER TABLE call_attempt ADD COLUMN note_sealed BYTEA;
ALTER TABLE call_attempt ADD COLUMN spoke_with_sealed BYTEA;
ALTER TABLE silence ADD COLUMN asked_note_sealed BYTEA;
ALTER TABLE silence ADD COLUMN decided_note_sealed BYTEA;
ALTER TABLE silence ADD COLUMN ended_note_sealed BYTEA;
ALTER TABLE silence_call ADD COLUMN note_sealed BYTEA;
ALTER TABLE silence_call ADD COLUMN spoke_with_sealed BYTEA;
ALTER TABLE plan_change ADD COLUMN reason_sealed BYTEA;
ALTER TABLE late_knock ADD COLUMN words_sealed BYTEA;
ALTER TABLE late_knock ADD COLUMN dealt_note_sealed BYTEA;
ALTER TABLE antibiotic_course ADD COLUMN drug_sealed BYTEA;
ALTER TABLE antibiotic_course ADD COLUMN culture_result_sealed BYTEA;
ALTER TABLE check_draft ADD COLUMN fields_sealed BYTEA;
-- What was typed at the enrolment: the procedure, allergies and an antibiotic's name, taken out of `operation` and
-- `risk_factors`.
ALTER TABLE wound ADD COLUMN typed_sealed BYTEA;
-- The patient's own words are taken out of the answers; everything else in them stays readable.
ALTER TABLE wound_check ADD COLUMN words_sealed BYTEA;
ALTER TABLE answers_version ADD COLUMN words_sealed BYTEA;

-- A hash of the whole form let anybody who guessed the words find out that they had guessed right. A body that came before is
-- now told by comparing it, and its row has a name instead.
ALTER TABLE answers_version RENAME COLUMN body_sha256 TO id;
UPDATE answers_version SET id = check_id || '/' || CAST(version AS TEXT) WHERE practice_id <> '';
CREATE UNIQUE INDEX answers_version_by_id ON answers_version (id);
ALTER TABLE check_draft ADD COLUMN id TEXT NOT NULL DEFAULT '';
UPDATE check_draft SET id = link_id || '/' || form_key WHERE practice_id <> '';
CREATE UNIQUE INDEX check_draft_by_id ON check_draft (id);

-- Texts that could not be opened when they were last tried, until they can be.
CREATE TABLE unreadable_text (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- Table and column, such as message.body.
    place TEXT NOT NULL,
    row_id TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    PRIMARY KEY (practice_id, place, row_id)
);
