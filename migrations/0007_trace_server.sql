-- Keys that open every studio belong to none, and what happens to them is traced too: in a chain of its own, of the server as a
-- whole. The row of studios that holds its end has key 0 and an id that no request can name.

SET LOCAL lock_timeout = '5s';

INSERT INTO studios (studio_key, studio_id, title, time_zone, step_minutes, charge_minutes, draw_minutes, acid_mist_fraction,
    revision, equipment_revision, own_revision, create_time)
OVERRIDING SYSTEM VALUE VALUES (0, '', '', 'UTC', 0, 0, 0, 0, 0, 0, 0, now());

---- create above / drop below ----

DELETE FROM changes WHERE studio_key = 0;
DELETE FROM studios WHERE studio_key = 0;
