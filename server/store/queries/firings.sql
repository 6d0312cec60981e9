-- A firing's own run is that for which it was booked, as long as that rides in it.
-- name: GetFiring :one
SELECT f.firing_key, f.firing_id, e.equipment_id AS furnace_id, f.title, f.state,
    lower(f.during)::timestamptz AS start_time, upper(f.during)::timestamptz AS end_time,
    f.top_celsius, f.atmosphere, f.revision, f.offer,
    coalesce(r.run_id, '') AS run_id, coalesce(l.stage_id, '') AS stage_id, coalesce(r.department, '') AS department,
    coalesce(nullif(f.attended_by, ''), r.maker, '')::text AS attended_by,
    coalesce(r.maker, '') AS maker, r.hold_expire_time
FROM firings f
JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
LEFT JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key AND NOT l.joined
    AND (f.offer IS NULL OR l.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED'))
LEFT JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = @studio_key AND f.firing_id = @firing_id;

-- Reads through firings_during, so that its cost follows the window and not the history.
-- name: FiringsOver :many
SELECT f.firing_key, f.firing_id, e.equipment_id AS furnace_id, f.title, f.state,
    lower(f.during)::timestamptz AS start_time, upper(f.during)::timestamptz AS end_time,
    f.top_celsius, f.atmosphere, f.revision, f.offer,
    coalesce(r.run_id, '') AS run_id, coalesce(l.stage_id, '') AS stage_id, coalesce(r.department, '') AS department,
    coalesce(nullif(f.attended_by, ''), r.maker, '')::text AS attended_by,
    coalesce(r.maker, '') AS maker, r.hold_expire_time
FROM firings f
JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
LEFT JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key AND NOT l.joined
    AND (f.offer IS NULL OR l.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED'))
LEFT JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = @studio_key
    AND f.during && tstzrange(@window_start::timestamptz, @window_end::timestamptz)
    AND (@show_ended::boolean OR f.state IN ('CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
        OR f.state = 'TENTATIVE' AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz))
    AND (cardinality(@furnace_ids::text[]) = 0 OR e.equipment_id = ANY (@furnace_ids::text[]))
    AND f.revision > @since_revision
    AND (NOT @shared_only::boolean OR f.offer IS NOT NULL)
    AND (lower(f.during), f.firing_key) > (@after_start::timestamptz, @after_key::bigint)
ORDER BY lower(f.during), f.firing_key
LIMIT NULLIF(@max_rows::bigint, 0);

-- What has been booked since a revision. Reads through firings_by_revision, since little has: the window is therefore not
-- written with &&, and the upper end of the revisions, which leaves nothing out, tells the planner that there are few.
-- name: NewFirings :many
SELECT f.firing_key, f.firing_id, e.equipment_id AS furnace_id, f.title, f.state,
    lower(f.during)::timestamptz AS start_time, upper(f.during)::timestamptz AS end_time,
    f.top_celsius, f.atmosphere, f.revision, f.offer,
    coalesce(r.run_id, '') AS run_id, coalesce(l.stage_id, '') AS stage_id, coalesce(r.department, '') AS department,
    coalesce(nullif(f.attended_by, ''), r.maker, '')::text AS attended_by,
    coalesce(r.maker, '') AS maker, r.hold_expire_time
FROM firings f
JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
LEFT JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key AND NOT l.joined
    AND (f.offer IS NULL OR l.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED'))
LEFT JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND f.revision > @since_revision
    AND f.revision <= (SELECT s.revision FROM studios s WHERE s.studio_id = @studio_id)
    AND lower(f.during) < @window_end::timestamptz AND upper(f.during) > @window_start::timestamptz
    AND f.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
ORDER BY lower(f.during), f.firing_key;

-- name: NextFiringKeys :many
SELECT nextval('firings_firing_key_seq')::bigint AS firing_key
FROM generate_series(1, @key_count::integer);

-- A firing that stands already gets its new state, offer and who attends it; its furnace and time never change.
-- name: PutFirings :exec
INSERT INTO firings (studio_key, firing_key, firing_id, furnace_key, title, state, during, top_celsius, atmosphere,
    revision, attended_by, offer)
SELECT @studio_key, u.firing_key, u.firing_id, e.equipment_key, u.title, u.state, tstzrange(u.start_time, u.end_time),
    u.top_celsius, u.atmosphere, u.revision, u.attended_by, NULLIF(u.offer, '')::jsonb
FROM (
    SELECT unnest(@firing_keys::bigint[]) AS firing_key, unnest(@firing_ids::text[]) AS firing_id,
        unnest(@furnace_ids::text[]) AS furnace_id, unnest(@titles::text[]) AS title,
        unnest(@states::text[]) AS state, unnest(@start_times::timestamptz[]) AS start_time,
        unnest(@end_times::timestamptz[]) AS end_time, unnest(@top_celsius::double precision[]) AS top_celsius,
        unnest(@atmospheres::text[]) AS atmosphere, unnest(@revisions::bigint[]) AS revision,
        unnest(@attendants::text[]) AS attended_by, unnest(@offers::text[]) AS offer
) AS u
LEFT JOIN equipment e
    ON e.studio_key = @studio_key AND e.kind = 'furnaces' AND e.equipment_id = u.furnace_id
ON CONFLICT ON CONSTRAINT firings_pkey DO UPDATE SET state = excluded.state, revision = excluded.revision,
    attended_by = excluded.attended_by, offer = excluded.offer;

-- name: EndFirings :exec
UPDATE firings
SET state = u.state, revision = u.revision
FROM (
    SELECT unnest(@firing_keys::bigint[]) AS firing_key, unnest(@states::text[]) AS state,
        unnest(@revisions::bigint[]) AS revision
) AS u
WHERE firings.studio_key = @studio_key AND firings.firing_key = u.firing_key;

-- name: DeleteOccupancies :exec
DELETE FROM occupancies
WHERE studio_key = @studio_key AND firing_key = ANY (@firing_keys::bigint[]);

-- name: InsertOccupancies :exec
INSERT INTO occupancies (studio_key, firing_key, furnace_key, during)
SELECT f.studio_key, f.firing_key, f.furnace_key, f.during
FROM firings f
WHERE f.studio_key = @studio_key AND f.firing_key = ANY (@firing_keys::bigint[])
ON CONFLICT ON CONSTRAINT occupancies_pkey DO NOTHING;
