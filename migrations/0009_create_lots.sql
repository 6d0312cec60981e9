-- Lots: what of a material or an intermediate is at hand, what runs have reserved of it, and where it went. Runs say from which
-- lot they start and what they take, firings who is at them.

SET LOCAL lock_timeout = '5s';

-- A row is one delivery or one intermediate. Masses are whole micrograms, so that sums are exact.
CREATE TABLE lots (
    studio_key           bigint      NOT NULL,
    lot_key              bigint GENERATED ALWAYS AS IDENTITY,
    lot_id               text        NOT NULL,
    department           text        NOT NULL,
    material_id          text        NOT NULL, -- empty: an intermediate
    from_run             text        NOT NULL, -- empty: a delivery
    body                 jsonb       NOT NULL,
    mass_micrograms      bigint      NOT NULL,
    reserved_micrograms  bigint      NOT NULL,
    low_stock_micrograms bigint      NOT NULL,
    described_revision   bigint      NOT NULL, -- at which what is said of it last changed, its weighing included
    revision             bigint      NOT NULL,
    create_time          timestamptz NOT NULL,
    CONSTRAINT lots_pkey PRIMARY KEY (studio_key, lot_key),
    CONSTRAINT lots_id_unique UNIQUE (studio_key, lot_id),
    CONSTRAINT lots_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key),
    CONSTRAINT lots_not_overdrawn CHECK (reserved_micrograms >= 0 AND reserved_micrograms <= mass_micrograms),
    CONSTRAINT lots_body_object CHECK (jsonb_typeof(body) = 'object')
);

-- A row is one change of a lot's mass or of what is reserved of it. Rows are only ever added.
CREATE TABLE lot_entries (
    studio_key          bigint      NOT NULL,
    revision            bigint      NOT NULL,
    lot_key             bigint      NOT NULL,
    entry_time          timestamptz NOT NULL,
    caller_id           text        NOT NULL,
    kind                text        NOT NULL,
    mass_change         bigint      NOT NULL,
    reserved_change     bigint      NOT NULL,
    mass_micrograms     bigint      NOT NULL,
    reserved_micrograms bigint      NOT NULL,
    run_id              text        NOT NULL, -- empty: for none
    reason              text        NOT NULL,
    CONSTRAINT lot_entries_pkey PRIMARY KEY (studio_key, revision, lot_key),
    CONSTRAINT lot_entries_lot_fkey FOREIGN KEY (studio_key, lot_key) REFERENCES lots (studio_key, lot_key),
    CONSTRAINT lot_entries_kind_known CHECK (kind IN
        ('CREATED', 'TAKEN', 'RETURNED', 'WEIGHED', 'RESERVED', 'RELEASED'))
);

CREATE INDEX lot_entries_by_lot ON lot_entries (studio_key, lot_key, revision);

ALTER TABLE runs
    ADD COLUMN start_stage text NOT NULL DEFAULT '', -- empty: the first
    ADD COLUMN from_lot text NOT NULL DEFAULT '', -- empty: from its own additions
    ADD COLUMN draws jsonb NOT NULL DEFAULT '[]';

ALTER TABLE firings ADD COLUMN attended_by text NOT NULL DEFAULT ''; -- empty: the run's maker

---- create above / drop below ----

ALTER TABLE firings DROP COLUMN attended_by;
ALTER TABLE runs DROP COLUMN start_stage, DROP COLUMN from_lot, DROP COLUMN draws;
DROP TABLE lot_entries;
DROP TABLE lots;
