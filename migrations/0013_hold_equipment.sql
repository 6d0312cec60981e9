-- Vessels and gear, which runs hold beside their furnaces, and how long cleaning takes.

SET LOCAL lock_timeout = '5s';

ALTER TABLE equipment DROP CONSTRAINT equipment_kind_known;
ALTER TABLE equipment ADD CONSTRAINT equipment_kind_known CHECK (kind IN
    ('rooms', 'extractionCircuits', 'supplies', 'furnaces', 'staffedHours', 'closures', 'vessels', 'gear'));

ALTER TABLE studios ADD COLUMN clean_minutes integer NOT NULL DEFAULT 0; -- 0: the default

-- A row is a vessel, some of a set of vessels, or a piece of gear that a stage of a run has for a time. It stands while the stage
-- does, also after its time, since what was in a vessel and for how long a cartridge was worn count later. runs.inputs holds
-- the same; a changed run takes its rows away and gives them anew.
CREATE TABLE equipment_holds (
    studio_key    bigint    NOT NULL,
    hold_key      bigint GENERATED ALWAYS AS IDENTITY,
    equipment_key bigint    NOT NULL,
    run_key       bigint    NOT NULL,
    stage_id      text      NOT NULL,
    during        tstzrange NOT NULL,
    item_count    integer   NOT NULL,
    alone         boolean   NOT NULL, -- there is one, which nobody else can have at the same time
    leaves        text[]    NOT NULL, -- what a vessel's wall takes up
    CONSTRAINT equipment_holds_pkey PRIMARY KEY (studio_key, hold_key),
    CONSTRAINT equipment_holds_equipment_fkey FOREIGN KEY (studio_key, equipment_key) REFERENCES equipment (studio_key, equipment_key),
    CONSTRAINT equipment_holds_run_fkey FOREIGN KEY (studio_key, run_key) REFERENCES runs (studio_key, run_key),
    CONSTRAINT equipment_holds_exclusive EXCLUDE USING gist
        (studio_key WITH =, equipment_key WITH =, during WITH &&) WHERE (alone),
    CONSTRAINT equipment_holds_positive CHECK (item_count > 0),
    CONSTRAINT equipment_holds_bounded CHECK (NOT isempty(during) AND NOT lower_inf(during) AND NOT upper_inf(during)
        AND lower_inc(during) AND NOT upper_inc(during))
);

CREATE INDEX equipment_holds_by_equipment ON equipment_holds (studio_key, equipment_key);
CREATE INDEX equipment_holds_by_run ON equipment_holds (studio_key, run_key);

---- create above / drop below ----

DROP TABLE equipment_holds;
ALTER TABLE studios DROP COLUMN clean_minutes;
DELETE FROM equipment WHERE kind IN ('vessels', 'gear');
ALTER TABLE equipment DROP CONSTRAINT equipment_kind_known;
ALTER TABLE equipment ADD CONSTRAINT equipment_kind_known CHECK (kind IN
    ('rooms', 'extractionCircuits', 'supplies', 'furnaces', 'staffedHours', 'closures'));
