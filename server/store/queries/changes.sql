-- name: InsertChange :exec
INSERT INTO changes (studio_key, revision, change_time, caller_id, request_id, method, subject, before, after,
    key_id, caller_address, call_id, chain_sha256)
VALUES (@studio_key, @revision, @change_time, @caller_id, @request_id, @method, @subject, @before, @after,
    @key_id, @caller_address, @call_id, @chain_sha256);

-- name: ListChanges :many
SELECT studio_key, revision, change_time, caller_id, request_id, method, subject, before, after,
    key_id, caller_address, call_id, chain_sha256
FROM changes
WHERE studio_key = @studio_key AND revision > @after_revision
ORDER BY revision
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: TraceHeads :many
SELECT studio_id, revision, chain_sha256 FROM studios ORDER BY studio_id;

-- Wakes whoever listens on any server; sent after the changes were committed.
-- name: RingBell :exec
SELECT pg_notify('saggar_changes', u.studio_key::text)
FROM (SELECT unnest(@studio_keys::bigint[]) AS studio_key) AS u;

-- name: StudioRevisions :many
SELECT studio_key, revision FROM studios WHERE studio_key = ANY (@studio_keys::bigint[]);
