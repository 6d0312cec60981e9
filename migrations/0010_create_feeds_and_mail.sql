-- Calendars that people subscribe to, each under an address of its own, and letters to those who want some.

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

-- A row is where and how often somebody is written to, and how far they were: everything up to told_revision was told or is
-- nothing to them. While a letter is on its way its end is pending_revision, so that the same letter is tried again after a
-- crash, and lease_time bounds for how long one server has it to itself.
CREATE TABLE mail_choices (
    studio_key       bigint      NOT NULL,
    person_id        text        NOT NULL,
    email            text        NOT NULL,
    pace             text        NOT NULL,
    revision         bigint      NOT NULL,
    told_revision    bigint      NOT NULL,
    pending_revision bigint,
    next_time        timestamptz NOT NULL,
    lease_time       timestamptz,
    attempts         integer     NOT NULL,
    failure          text        NOT NULL,
    sent_time        timestamptz,
    dropped_time     timestamptz,
    CONSTRAINT mail_choices_pkey PRIMARY KEY (studio_key, person_id),
    CONSTRAINT mail_choices_person_fkey FOREIGN KEY (studio_key, person_id) REFERENCES people (studio_key, person_id)
        ON DELETE CASCADE,
    CONSTRAINT mail_choices_pace_known CHECK (pace IN ('none', 'at_once', 'hourly', 'daily')),
    CONSTRAINT mail_choices_ordered CHECK (pending_revision >= told_revision)
);

CREATE INDEX mail_choices_by_time ON mail_choices (next_time);

---- create above / drop below ----

DROP TABLE mail_choices;
DROP TABLE feeds;
