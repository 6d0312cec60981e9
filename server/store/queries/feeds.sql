-- name: InsertFeed :exec
INSERT INTO feeds (studio_key, feed_id, secret_sha256, owner, subject, label, create_time)
VALUES (@studio_key, @feed_id, @secret_sha256, @owner, @subject, @label, @create_time);

-- name: GetFeed :one
SELECT studio_key, feed_id, ordinal, secret_sha256, owner, subject, label, create_time, revoke_time, last_read_time
FROM feeds
WHERE studio_key = @studio_key AND feed_id = @feed_id;

-- name: ListFeeds :many
SELECT studio_key, feed_id, ordinal, secret_sha256, owner, subject, label, create_time, revoke_time, last_read_time
FROM feeds
WHERE studio_key = @studio_key
    AND (@owner::text = '' OR owner = @owner)
    AND (@before_ordinal::bigint = 0 OR ordinal < @before_ordinal)
    AND (@show_ended::boolean OR revoke_time IS NULL)
ORDER BY ordinal DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- The one read by which a calendar program comes in. What was revoked is not found.
-- name: FindFeed :one
SELECT f.studio_key, s.studio_id, f.feed_id, f.secret_sha256, f.owner, f.subject, f.label, f.create_time, f.last_read_time
FROM feeds f
JOIN studios s ON s.studio_key = f.studio_key
WHERE f.secret_sha256 = @secret_sha256 AND f.revoke_time IS NULL;

-- name: RevokeFeed :exec
UPDATE feeds SET revoke_time = @revoke_time::timestamptz
WHERE studio_key = @studio_key AND feed_id = @feed_id AND revoke_time IS NULL;

-- Whoever leaves takes no calendar along.
-- name: RevokeFeedsOf :exec
UPDATE feeds SET revoke_time = @revoke_time::timestamptz
WHERE studio_key = @studio_key AND owner = @owner AND revoke_time IS NULL;

-- name: TouchFeed :exec
UPDATE feeds SET last_read_time = @at::timestamptz
WHERE studio_key = @studio_key AND feed_id = @feed_id AND (last_read_time IS NULL OR last_read_time < @at);

-- The loads of a calendar, with when the run was last changed.
-- name: FeedLoads :many
SELECT r.run_id, r.title, r.recipe_id, r.department, r.maker, r.revision, r.create_time,
    COALESCE(c.change_time, r.create_time)::timestamptz AS change_time,
    l.stage_id, l.state, l.start_time, l.end_time, COALESCE(l.firing_key, 0)::bigint AS firing_key,
    COALESCE(e.equipment_id, '')::text AS furnace_id, COALESCE(f.firing_id, '')::text AS firing_id,
    CASE WHEN f.offer IS NULL THEN '' ELSE f.attended_by END::text AS shared_by,
    COALESCE(NULLIF(f.attended_by, ''), r.maker)::text AS attended_by
FROM loads l
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
LEFT JOIN firings f ON f.studio_key = l.studio_key AND f.firing_key = l.firing_key
LEFT JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
LEFT JOIN changes c ON c.studio_key = r.studio_key AND c.revision = r.revision
WHERE l.studio_key = @studio_key AND l.end_time > @since::timestamptz
    AND (@person::text = '' OR r.maker = @person OR f.attended_by = @person)
    AND (@department::text = '' OR r.department = @department)
    AND (@furnace_id::text = '' OR e.equipment_id = @furnace_id)
ORDER BY l.start_time, l.run_key, l.ordinal
LIMIT @max_rows::bigint;
