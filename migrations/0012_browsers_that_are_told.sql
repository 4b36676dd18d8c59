-- Browsers on which whoever holds a patient link wants to be told of an answer. One counts for as long as the phone's
-- session does: whoever leaves, or loses the link, is told nothing more.
CREATE TABLE link_address (
    id TEXT PRIMARY KEY,
    practice_id TEXT NOT NULL REFERENCES practice (id),
    link_id TEXT NOT NULL REFERENCES patient_link (id),
    phone_sha256 TEXT NOT NULL,
    -- A push subscription as JSON.
    address TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    UNIQUE (link_id, address)
);
-- Letters that went with another one share what became of it.
CREATE INDEX delivery_by_carrier ON delivery (practice_id, sent_with);
-- The last test of somebody's address.
CREATE INDEX notice_by_recipient ON notice (practice_id, kind, recipient);
