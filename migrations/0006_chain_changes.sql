-- The trace of changes shows when it was tampered with: each entry carries a hash over itself and the entry before it, in
-- the order of revisions, and the studio's row the last one.

SET LOCAL lock_timeout = '5s';

ALTER TABLE changes
    ADD COLUMN key_id text NOT NULL DEFAULT '',
    ADD COLUMN caller_address text NOT NULL DEFAULT '',
    ADD COLUMN call_id text NOT NULL DEFAULT '',
    ADD COLUMN chain_sha256 bytea, -- null: written before there was a chain
    ADD CONSTRAINT changes_chain_length CHECK (octet_length(chain_sha256) = 32);

ALTER TABLE studios
    ADD COLUMN chain_sha256 bytea NOT NULL DEFAULT decode(repeat('00', 32), 'hex'),
    ADD CONSTRAINT studios_chain_length CHECK (octet_length(chain_sha256) = 32);

---- create above / drop below ----

ALTER TABLE studios DROP COLUMN chain_sha256;
ALTER TABLE changes DROP COLUMN key_id, DROP COLUMN caller_address, DROP COLUMN call_id, DROP COLUMN chain_sha256;
