-- Whether a person has looked at a check: not yet, at all of it, or only at what was there before its patient added to it.
ALTER TABLE wound_check ADD COLUMN seen TEXT NOT NULL DEFAULT 'not_yet' CHECK (seen IN ('not_yet', 'all', 'part'));
UPDATE wound_check SET seen = 'all' WHERE id IN
    (SELECT substr(subject, 7) FROM audit WHERE action IN ('check.claim', 'check.view') AND subject LIKE 'check:%');
