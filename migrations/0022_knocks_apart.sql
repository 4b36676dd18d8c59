-- Words of a knock that could not be opened when more came stand apart: they lie there as they did, and what came later has a
-- row of its own.
ALTER TABLE late_knock ADD COLUMN apart BIGINT NOT NULL DEFAULT 0 CHECK (apart IN (0, 1));
DROP INDEX late_knock_open;
CREATE UNIQUE INDEX late_knock_open ON late_knock (link_id) WHERE dealt_ms IS NULL AND apart = 0;
