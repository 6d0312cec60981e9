-- What people asked for of furnace time that may fall free, and what of it they are offered.

SET LOCAL lock_timeout = '5s';

-- A row is one request, also after it ended. The body is read and written as a whole, since whatever falls free is held
-- against every open one, in the order of asked_revision. offer_expire_time is until when time is held for it; null: none is.
CREATE TABLE time_requests (
    studio_key        bigint      NOT NULL,
    asked_revision    bigint      NOT NULL,
    asker             text        NOT NULL,
    is_open           boolean     NOT NULL,
    end_time          timestamptz NOT NULL,
    offer_expire_time timestamptz,
    revision          bigint      NOT NULL,
    body              jsonb       NOT NULL,
    create_time       timestamptz NOT NULL,
    CONSTRAINT time_requests_pkey PRIMARY KEY (studio_key, asked_revision),
    CONSTRAINT time_requests_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT time_requests_offer_open CHECK (is_open OR offer_expire_time IS NULL),
    CONSTRAINT time_requests_body_object CHECK (jsonb_typeof(body) = 'object')
);

-- The few that wait or are offered something, and those of them whose offer lapses first.
CREATE INDEX time_requests_open ON time_requests (studio_key, asked_revision) WHERE is_open;
CREATE INDEX time_requests_offered ON time_requests (offer_expire_time) WHERE offer_expire_time IS NOT NULL;

-- For how long time that fell free is held for whoever is offered it; 0: the default.
ALTER TABLE studios ADD COLUMN offer_minutes integer NOT NULL DEFAULT 0;

---- create above / drop below ----

ALTER TABLE studios DROP COLUMN offer_minutes;
DROP TABLE time_requests;
