-- name: GetRequest :one
SELECT caller_id, request_id, method, body_sha256, resources
FROM requests
WHERE studio_key = @studio_key AND caller_id = @caller_id AND request_id = @request_id;

-- The same, for a batch that does not know the studio's key yet.
-- name: GetRequestInStudio :many
SELECT r.caller_id, r.request_id, r.method, r.body_sha256, r.resources
FROM requests r
WHERE r.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND r.caller_id = @caller_id AND r.request_id = @request_id;

-- name: InsertRequest :exec
INSERT INTO requests (studio_key, caller_id, request_id, method, body_sha256, resources, create_time)
VALUES (@studio_key, @caller_id, @request_id, @method, @body_sha256, @resources, @create_time);

-- name: DeleteRequestsBefore :exec
DELETE FROM requests
WHERE create_time < @before;
