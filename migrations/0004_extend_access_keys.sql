-- What a key needs to be kept, looked after and taken away: a name, a label, the studio that it opens, and its times.

SET LOCAL lock_timeout = '5s';

ALTER TABLE access_keys
    ADD COLUMN key_id text NOT NULL DEFAULT 'k' || replace(gen_random_uuid()::text, '-', ''),
    ADD COLUMN ordinal bigint NOT NULL GENERATED ALWAYS AS IDENTITY,
    ADD COLUMN studio_key bigint, -- null: it opens every studio
    ADD COLUMN label text NOT NULL DEFAULT '',
    ADD COLUMN one_time boolean NOT NULL DEFAULT false,
    ADD COLUMN expire_time timestamptz,
    ADD COLUMN revoke_time timestamptz,
    ADD COLUMN last_use_time timestamptz,
    ADD CONSTRAINT access_keys_id_unique UNIQUE (key_id),
    ADD CONSTRAINT access_keys_studio_fkey FOREIGN KEY (studio_key) REFERENCES studios (studio_key);

CREATE INDEX access_keys_by_studio ON access_keys (studio_key, ordinal);

---- create above / drop below ----

DROP INDEX access_keys_by_studio;
ALTER TABLE access_keys
    DROP COLUMN key_id,
    DROP COLUMN ordinal,
    DROP COLUMN studio_key,
    DROP COLUMN label,
    DROP COLUMN one_time,
    DROP COLUMN expire_time,
    DROP COLUMN revoke_time,
    DROP COLUMN last_use_time;
