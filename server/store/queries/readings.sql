-- name: InsertReading :exec
INSERT INTO readings (studio_key, noted_revision, room_id, read_time, is_unexplained, revision, body, create_time)
VALUES (@studio_key, @noted_revision, @room_id, @read_time, @is_unexplained, @revision, @body, @create_time);

-- name: UpdateReading :exec
UPDATE readings SET is_unexplained = @is_unexplained, revision = @revision, body = @body
WHERE studio_key = @studio_key AND noted_revision = @noted_revision;

-- name: GetReading :one
SELECT noted_revision, revision, body, create_time FROM readings
WHERE studio_key = @studio_key AND noted_revision = @noted_revision;

-- name: ListReadings :many
SELECT noted_revision, revision, body, create_time FROM readings
WHERE studio_key = @studio_key
    AND (@room_id::text = '' OR room_id = @room_id)
    AND (@before_revision::bigint = 0 OR noted_revision < @before_revision)
ORDER BY noted_revision DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- Those that nothing explained and that are not too old to matter, the latest first. Reads through readings_unexplained.
-- name: UnexplainedReadings :many
SELECT noted_revision, revision, body, create_time FROM readings
WHERE studio_key = @studio_key AND is_unexplained AND read_time > @since::timestamptz
ORDER BY read_time DESC, noted_revision DESC;
