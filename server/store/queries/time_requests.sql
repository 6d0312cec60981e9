-- name: InsertTimeRequest :exec
INSERT INTO time_requests (studio_key, asked_revision, asker, is_open, end_time, offer_expire_time, revision, body, create_time)
VALUES (@studio_key, @asked_revision, @asker, @is_open, @end_time, sqlc.narg(offer_expire_time), @revision, @body, @create_time);

-- name: UpdateTimeRequest :execrows
UPDATE time_requests
SET is_open = @is_open, offer_expire_time = sqlc.narg(offer_expire_time), revision = @revision, body = @body
WHERE studio_key = @studio_key AND asked_revision = @asked_revision;

-- name: GetTimeRequest :one
SELECT asked_revision, revision, body, create_time FROM time_requests
WHERE studio_key = @studio_key AND asked_revision = @asked_revision;

-- name: ListTimeRequests :many
SELECT asked_revision, revision, body, create_time FROM time_requests
WHERE studio_key = @studio_key
    AND (@asker::text = '' OR asker = @asker)
    AND asked_revision > @after_revision
    AND (@show_ended::boolean OR is_open AND end_time > @at::timestamptz)
ORDER BY asked_revision
LIMIT NULLIF(@max_rows::bigint, 0);

-- Those that time can be offered to, and those that are offered some, in the order of asking. Reads through time_requests_open.
-- name: OpenTimeRequests :many
SELECT asked_revision, revision, body, create_time FROM time_requests
WHERE studio_key = @studio_key AND is_open AND (end_time > @at::timestamptz OR offer_expire_time IS NOT NULL)
ORDER BY asked_revision;

-- Whoever leaves asks for nothing any more.
-- name: CloseTimeRequestsOf :exec
UPDATE time_requests
SET is_open = false, offer_expire_time = NULL, body = body - 'offer' || '{"state": "WITHDRAWN"}'
WHERE studio_key = @studio_key AND asker = @asker AND is_open;
