-- name: InsertAccessKey :exec
INSERT INTO access_keys (secret_sha256, caller_id, role, create_time)
VALUES (@secret_sha256, @caller_id, @role, @create_time);

-- name: GetAccessKey :one
SELECT secret_sha256, caller_id, role, create_time
FROM access_keys
WHERE secret_sha256 = @secret_sha256;

-- name: CountAccessKeys :one
SELECT count(*) FROM access_keys;
