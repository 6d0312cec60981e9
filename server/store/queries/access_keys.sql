-- name: InsertAccessKey :exec
INSERT INTO access_keys (secret_sha256, key_id, studio_key, caller_id, role, label, one_time, create_time, expire_time)
VALUES (@secret_sha256, @key_id, sqlc.narg(studio_key), @caller_id, @role, @label, @one_time, @create_time, sqlc.narg(expire_time));

-- The one read by which a caller comes in, by primary keys: the key and, for a studio's, what the person may do there now.
-- name: GetAccessKey :one
SELECT k.secret_sha256, k.key_id, k.ordinal, k.studio_key, COALESCE(s.studio_id, '')::text AS studio_id, k.caller_id, k.role,
    k.label, k.one_time, k.create_time, k.expire_time, k.revoke_time, k.last_use_time, COALESCE(p.role, '')::text AS person_role
FROM access_keys k
LEFT JOIN studios s ON s.studio_key = k.studio_key
LEFT JOIN people p ON p.studio_key = k.studio_key AND p.person_id = k.caller_id
WHERE k.secret_sha256 = @secret_sha256;

-- name: GetAccessKeyByID :one
SELECT k.secret_sha256, k.key_id, k.ordinal, k.studio_key, COALESCE(s.studio_id, '')::text AS studio_id, k.caller_id, k.role,
    k.label, k.one_time, k.create_time, k.expire_time, k.revoke_time, k.last_use_time, COALESCE(p.role, '')::text AS person_role
FROM access_keys k
LEFT JOIN studios s ON s.studio_key = k.studio_key
LEFT JOIN people p ON p.studio_key = k.studio_key AND p.person_id = k.caller_id
WHERE k.key_id = @key_id AND k.studio_key IS NOT DISTINCT FROM sqlc.narg(studio_key);

-- Two exchanges of one key must not both go through.
-- name: LockAccessKey :exec
SELECT k.key_id FROM access_keys k WHERE k.key_id = @key_id FOR NO KEY UPDATE;

-- name: ListAccessKeys :many
SELECT k.secret_sha256, k.key_id, k.ordinal, k.studio_key, COALESCE(s.studio_id, '')::text AS studio_id, k.caller_id, k.role,
    k.label, k.one_time, k.create_time, k.expire_time, k.revoke_time, k.last_use_time, COALESCE(p.role, '')::text AS person_role
FROM access_keys k
LEFT JOIN studios s ON s.studio_key = k.studio_key
LEFT JOIN people p ON p.studio_key = k.studio_key AND p.person_id = k.caller_id
WHERE k.studio_key IS NOT DISTINCT FROM sqlc.narg(studio_key)
    AND (@caller_id::text = '' OR k.caller_id = @caller_id)
    AND (@before_ordinal::bigint = 0 OR k.ordinal < @before_ordinal)
    AND (@show_ended::boolean OR (k.revoke_time IS NULL AND (k.expire_time IS NULL OR k.expire_time > @at::timestamptz)))
ORDER BY k.ordinal DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- What was revoked stays so since then.
-- name: RevokeAccessKey :exec
UPDATE access_keys SET revoke_time = @revoke_time::timestamptz
WHERE key_id = @key_id AND revoke_time IS NULL;

-- name: TouchAccessKey :exec
UPDATE access_keys SET last_use_time = @at::timestamptz
WHERE secret_sha256 = @secret_sha256 AND (last_use_time IS NULL OR last_use_time < @at);

-- name: CountServerStewardKeys :one
SELECT count(*) FROM access_keys
WHERE studio_key IS NULL AND role = 'steward' AND revoke_time IS NULL AND (expire_time IS NULL OR expire_time > @at::timestamptz);
