-- What a correction points at is looked for when that goes.
CREATE INDEX correction_by_check ON correction (check_id);
CREATE INDEX correction_by_review ON correction (review_id);
