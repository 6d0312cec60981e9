-- What firings consist of: their phases, what comes off them, and the loads that ride in them.

-- name: PhasesOfNewFirings :many
SELECT p.firing_key, p.kind, p.start_time, p.end_time, p.watch, p.people_count, p.kilowatts
FROM firings f
JOIN firing_phases p ON p.studio_key = f.studio_key AND p.firing_key = f.firing_key
WHERE f.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND f.revision > @since_revision
    AND f.revision <= (SELECT s.revision FROM studios s WHERE s.studio_id = @studio_id)
    AND lower(f.during) < @window_end::timestamptz AND upper(f.during) > @window_start::timestamptz
    AND f.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
ORDER BY p.firing_key, p.ordinal;

-- name: ReleasesOfNewFirings :many
SELECT g.firing_key, g.species, g.start_minute, g.end_minute, g.grams_per_minute
FROM firings f
JOIN firing_releases g ON g.studio_key = f.studio_key AND g.firing_key = f.firing_key
WHERE f.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND f.revision > @since_revision
    AND f.revision <= (SELECT s.revision FROM studios s WHERE s.studio_id = @studio_id)
    AND lower(f.during) < @window_end::timestamptz AND upper(f.during) > @window_start::timestamptz
    AND f.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
ORDER BY g.firing_key, g.ordinal;

-- name: RidersOfNewFirings :many
SELECT l.firing_key::bigint AS firing_key, l.ride, l.joined, l.state, l.stage_id, r.run_id, r.title, r.department, r.maker
FROM firings f
JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND f.revision > @since_revision
    AND f.revision <= (SELECT s.revision FROM studios s WHERE s.studio_id = @studio_id)
    AND lower(f.during) < @window_end::timestamptz AND upper(f.during) > @window_start::timestamptz
    AND f.offer IS NOT NULL AND l.ride IS NOT NULL
    AND (l.state IN ('CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
        OR l.state = 'TENTATIVE' AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz))
ORDER BY l.firing_key, l.joined, l.run_key;

-- The loads that ride in shared firings, that of a firing's own run first. Reads through loads_riding, of which there are few.
-- name: RidersOfFirings :many
SELECT l.firing_key::bigint AS firing_key, l.ride, l.joined, l.state, l.stage_id, r.run_id, r.title, r.department, r.maker
FROM loads l
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE l.studio_key = @studio_key AND l.firing_key = ANY (@firing_keys::bigint[]) AND l.ride IS NOT NULL
    AND (l.state IN ('CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
        OR l.state = 'TENTATIVE' AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz))
ORDER BY l.firing_key, l.joined, l.run_key;

-- name: PhasesOfFirings :many
SELECT firing_key, kind, start_time, end_time, watch, people_count, kilowatts
FROM firing_phases
WHERE studio_key = @studio_key AND firing_key = ANY (@firing_keys::bigint[])
ORDER BY firing_key, ordinal;

-- name: ReleasesOfFirings :many
SELECT firing_key, species, start_minute, end_minute, grams_per_minute
FROM firing_releases
WHERE studio_key = @studio_key AND firing_key = ANY (@firing_keys::bigint[])
ORDER BY firing_key, ordinal;

-- What is written anew when a firing is shared or no longer is.
-- name: DeleteFiringPhases :exec
DELETE FROM firing_phases
WHERE studio_key = @studio_key AND firing_key = ANY (@firing_keys::bigint[]);

-- name: DeleteFiringReleases :exec
DELETE FROM firing_releases
WHERE studio_key = @studio_key AND firing_key = ANY (@firing_keys::bigint[]);

-- name: InsertFiringPhases :exec
INSERT INTO firing_phases (studio_key, firing_key, ordinal, kind, start_time, end_time, watch, people_count, kilowatts)
SELECT @studio_key, u.firing_key, u.ordinal, u.kind, u.start_time, u.end_time, u.watch, u.people_count, u.kilowatts
FROM (
    SELECT unnest(@firing_keys::bigint[]) AS firing_key, unnest(@ordinals::integer[]) AS ordinal,
        unnest(@kinds::text[]) AS kind, unnest(@start_times::timestamptz[]) AS start_time,
        unnest(@end_times::timestamptz[]) AS end_time, unnest(@watches::text[]) AS watch,
        unnest(@people_counts::integer[]) AS people_count, unnest(@kilowatts::double precision[]) AS kilowatts
) AS u
ON CONFLICT ON CONSTRAINT firing_phases_pkey DO NOTHING;

-- name: InsertFiringReleases :exec
INSERT INTO firing_releases (studio_key, firing_key, ordinal, species, start_minute, end_minute, grams_per_minute)
SELECT @studio_key, u.firing_key, u.ordinal, u.species, u.start_minute, u.end_minute, u.grams_per_minute
FROM (
    SELECT unnest(@firing_keys::bigint[]) AS firing_key, unnest(@ordinals::integer[]) AS ordinal,
        unnest(@species::text[]) AS species, unnest(@start_minutes::double precision[]) AS start_minute,
        unnest(@end_minutes::double precision[]) AS end_minute,
        unnest(@grams_per_minute::double precision[]) AS grams_per_minute
) AS u
ON CONFLICT ON CONSTRAINT firing_releases_pkey DO NOTHING;
