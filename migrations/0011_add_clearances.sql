-- What a studio asks of bookings besides that they fit, and the runs that wait for somebody's yes.

SET LOCAL lock_timeout = '5s';

-- A row is one rule as it now stands: when a run needs a clearance, what a department may use, whose hours come first, how
-- far ahead a role books. The body is read and written as a whole, since every booking is held against all of them.
CREATE TABLE booking_rules (
    studio_key bigint NOT NULL,
    kind       text   NOT NULL,
    rule_id    text   NOT NULL,
    revision   bigint NOT NULL,
    body       jsonb  NOT NULL,
    CONSTRAINT booking_rules_pkey PRIMARY KEY (studio_key, kind, rule_id),
    CONSTRAINT booking_rules_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT booking_rules_kind_known CHECK (kind IN ('clearanceRules', 'allotments', 'taughtHours', 'bookingLimits')),
    CONSTRAINT booking_rules_body_object CHECK (jsonb_typeof(body) = 'object')
);

-- clearances are what a run needs somebody's yes for, decided or not. hold_expire_time is until when it waits; null: it does
-- not wait.
ALTER TABLE runs
    ADD COLUMN clearances jsonb NOT NULL DEFAULT '[]',
    ADD COLUMN hold_expire_time timestamptz;

-- The few runs that wait, for whoever clears them and for the sweep of those that waited too long.
CREATE INDEX runs_waiting ON runs (studio_key, run_key) WHERE hold_expire_time IS NOT NULL;

-- Whether a maker has made a recipe before.
CREATE INDEX runs_by_maker ON runs (studio_key, maker, recipe_id);

---- create above / drop below ----

DROP INDEX runs_by_maker;
DROP INDEX runs_waiting;
ALTER TABLE runs DROP COLUMN hold_expire_time, DROP COLUMN clearances;
DROP TABLE booking_rules;
