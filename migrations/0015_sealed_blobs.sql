-- Where each rendition lies sealed, and the key of its own that opens it, wrapped by a key of the key file. What has no row
-- here was kept before anything was sealed.
CREATE TABLE sealed_blob (
    practice_id TEXT NOT NULL REFERENCES practice (id),
    -- Of the rendition itself: its name everywhere else.
    sha256 TEXT NOT NULL,
    -- Of the file: its name in the photo folder.
    sealed_sha256 TEXT NOT NULL,
    -- 0: not sealed.
    key_version BIGINT NOT NULL,
    wrapped_key BYTEA NOT NULL,
    bytes BIGINT NOT NULL,
    kept_ms BIGINT NOT NULL,
    -- When it was last read whole, and since when it cannot be.
    scrubbed_ms BIGINT,
    damaged_ms BIGINT,
    PRIMARY KEY (practice_id, sha256)
);
CREATE INDEX sealed_blob_scrubbed ON sealed_blob (practice_id, scrubbed_ms);
CREATE UNIQUE INDEX sealed_blob_by_file ON sealed_blob (sealed_sha256, practice_id);

-- What comes through a closed link is refused, and the canary's was closed from the beginning; its secrets are nowhere.
UPDATE patient_link SET expires_ms = 7258118400000, revoked_ms = NULL
    WHERE practice_id IN (SELECT id FROM practice WHERE purpose = 'canary');
