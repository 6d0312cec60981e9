-- What people measured in rooms, and how long a test of what cuts the heat when a fan stops counts.

SET LOCAL lock_timeout = '5s';

-- A row is one reading of an instrument, with what was forecast when it was noted. Readings are only ever added; one that
-- nothing explained is closed once somebody has found out why. The body is read and written as a whole.
CREATE TABLE readings (
    studio_key     bigint      NOT NULL,
    noted_revision bigint      NOT NULL,
    room_id        text        NOT NULL,
    read_time      timestamptz NOT NULL,
    is_unexplained boolean     NOT NULL,
    revision       bigint      NOT NULL,
    body           jsonb       NOT NULL,
    create_time    timestamptz NOT NULL,
    CONSTRAINT readings_pkey PRIMARY KEY (studio_key, noted_revision),
    CONSTRAINT readings_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT readings_body_object CHECK (jsonb_typeof(body) = 'object')
);

CREATE INDEX readings_unexplained ON readings (studio_key, read_time) WHERE is_unexplained;

-- For how many months a test of a fan interlock counts; 0: the default.
ALTER TABLE studios ADD COLUMN interlock_test_months integer NOT NULL DEFAULT 0;

---- create above / drop below ----

ALTER TABLE studios DROP COLUMN interlock_test_months;
DROP TABLE readings;
