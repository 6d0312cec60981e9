-- Calendars that people subscribe to, each under an address of its own.

-- A row is one calendar under one address. Only the SHA-256 of the secret in the address is kept.
CREATE TABLE feeds (
    studio_key     bigint      NOT NULL,
    feed_id        text        NOT NULL,
    ordinal        bigint      NOT NULL GENERATED ALWAYS AS IDENTITY,
    secret_sha256  bytea       NOT NULL,
    owner          text        NOT NULL,
    subject        text        NOT NULL,
    label          text        NOT NULL,
    create_time    timestamptz NOT NULL,
    revoke_time    timestamptz,
    last_read_time timestamptz,
    CONSTRAINT feeds_pkey PRIMARY KEY (studio_key, feed_id),
    CONSTRAINT feeds_secret_unique UNIQUE (secret_sha256),
    CONSTRAINT feeds_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT feeds_sha256_length CHECK (octet_length(secret_sha256) = 32),
    CONSTRAINT feeds_subject_known CHECK (subject ~ '^(people|furnaces|departments)/.')
);

---- create above / drop below ----

DROP TABLE feeds;
