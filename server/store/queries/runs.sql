-- name: GetRun :one
SELECT run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs, acknowledged, revision,
    create_time, start_stage, from_lot, draws, clearances, hold_expire_time
FROM runs
WHERE studio_key = @studio_key AND run_id = @run_id;

-- name: ListRuns :many
SELECT run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs, acknowledged, revision,
    create_time, start_stage, from_lot, draws, clearances, hold_expire_time
FROM runs
WHERE studio_key = @studio_key AND run_key < @before_key
ORDER BY run_key DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: ListRunsOfDepartment :many
SELECT run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs, acknowledged, revision,
    create_time, start_stage, from_lot, draws, clearances, hold_expire_time
FROM runs
WHERE studio_key = @studio_key AND department = @department AND run_key < @before_key
ORDER BY run_key DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: NextRunKeys :many
SELECT nextval('runs_run_key_seq')::bigint AS run_key
FROM generate_series(1, @key_count::integer);

-- name: InsertRun :exec
INSERT INTO runs (studio_key, run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs,
    acknowledged, revision, create_time, start_stage, from_lot, draws, clearances, hold_expire_time)
VALUES (@studio_key, @run_key, @run_id, @title, @recipe_id, @recipe_version, @department, @maker, @scale, @inputs,
    @acknowledged, @revision, @create_time, @start_stage, @from_lot, @draws, @clearances, sqlc.narg(hold_expire_time));

-- name: UpdateRun :execrows
UPDATE runs
SET title = @title, inputs = @inputs, acknowledged = @acknowledged, revision = @revision, draws = @draws,
    clearances = @clearances, hold_expire_time = sqlc.narg(hold_expire_time)
WHERE studio_key = @studio_key AND run_key = @run_key;

-- name: SetRunDraws :execrows
UPDATE runs
SET draws = @draws, revision = @revision
WHERE studio_key = @studio_key AND run_id = @run_id;

-- The loads of runs in the recipe's order. A load that is bench work has no firing: its firing_key is 0.
-- name: LoadsOfRuns :many
SELECT l.run_key, l.stage_id, l.state AS load_state, l.start_time AS load_start_time, l.end_time AS load_end_time,
    coalesce(f.firing_key, 0)::bigint AS firing_key,
    coalesce(f.firing_id, '') AS firing_id,
    coalesce(e.equipment_id, '') AS furnace_id,
    coalesce(f.title, '') AS title,
    coalesce(f.state, '') AS state,
    coalesce(lower(f.during), l.start_time)::timestamptz AS start_time,
    coalesce(upper(f.during), l.end_time)::timestamptz AS end_time,
    coalesce(f.top_celsius, 0)::double precision AS top_celsius,
    coalesce(f.atmosphere, '') AS atmosphere,
    coalesce(f.revision, 0)::bigint AS revision,
    coalesce(f.attended_by, '') AS attended_by, f.offer, l.ride, l.joined
FROM loads l
LEFT JOIN firings f ON f.studio_key = l.studio_key AND f.firing_key = l.firing_key
LEFT JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
WHERE l.studio_key = @studio_key AND l.run_key = ANY (@run_keys::bigint[])
ORDER BY l.run_key, l.ordinal;

-- name: InsertLoads :exec
INSERT INTO loads (studio_key, run_key, ordinal, stage_id, state, firing_key, start_time, end_time, ride, joined)
SELECT @studio_key, u.run_key, u.ordinal, u.stage_id, u.state, NULLIF(u.firing_key, 0), u.start_time, u.end_time,
    NULLIF(u.ride, '')::jsonb, u.joined
FROM (
    SELECT unnest(@run_keys::bigint[]) AS run_key, unnest(@ordinals::integer[]) AS ordinal,
        unnest(@stage_ids::text[]) AS stage_id, unnest(@states::text[]) AS state,
        unnest(@firing_keys::bigint[]) AS firing_key, unnest(@start_times::timestamptz[]) AS start_time,
        unnest(@end_times::timestamptz[]) AS end_time, unnest(@rides::text[]) AS ride, unnest(@joins::boolean[]) AS joined
) AS u;

-- name: UpdateLoads :execrows
UPDATE loads
SET state = u.state, firing_key = NULLIF(u.firing_key, 0), start_time = u.start_time, end_time = u.end_time,
    ride = NULLIF(u.ride, '')::jsonb, joined = u.joined
FROM (
    SELECT unnest(@run_keys::bigint[]) AS run_key, unnest(@ordinals::integer[]) AS ordinal,
        unnest(@states::text[]) AS state, unnest(@firing_keys::bigint[]) AS firing_key,
        unnest(@start_times::timestamptz[]) AS start_time, unnest(@end_times::timestamptz[]) AS end_time,
        unnest(@rides::text[]) AS ride, unnest(@joins::boolean[]) AS joined
) AS u
WHERE loads.studio_key = @studio_key AND loads.run_key = u.run_key AND loads.ordinal = u.ordinal;

-- Bench work without a station, which has no firing, over a window. Reads through loads_by_firing.
-- name: BenchWorkOver :many
SELECT r.run_id, r.department, r.maker, l.stage_id, l.state, l.start_time, l.end_time
FROM loads l
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE l.studio_key = @studio_key AND l.firing_key IS NULL
    AND l.start_time < @window_end::timestamptz AND l.end_time > @window_start::timestamptz
ORDER BY l.start_time, l.run_key, l.ordinal;

-- The loads whose shared firing was called off. Reads through loads_unplaced, of which there are few.
-- name: UnplacedLoads :many
SELECT r.run_id, l.stage_id, coalesce(f.firing_id, '')::text AS firing_id
FROM loads l
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
LEFT JOIN firings f ON f.studio_key = l.studio_key AND f.firing_key = l.firing_key
WHERE l.studio_key = @studio_key AND l.state = 'UNPLACED'
ORDER BY l.run_key, l.ordinal;

-- What each firing takes of its supply, as it was kept at booking, in kWh; below 0 where it was not kept.
-- name: EnergyOfFirings :many
SELECT l.firing_key::bigint AS firing_key,
    coalesce((r.inputs -> 'energy_kilowatt_hours' ->> l.stage_id)::double precision, -1)::double precision AS energy_kilowatt_hours
FROM loads l
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE l.studio_key = @studio_key AND l.firing_key = ANY (@firing_keys::bigint[]);
