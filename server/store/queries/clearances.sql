-- The runs of a studio that wait, oldest first. Reads through runs_waiting, of which there are few.
-- name: ListWaitingRuns :many
SELECT run_key, run_id, title, recipe_id, recipe_version, department, maker, scale, inputs, acknowledged, revision,
    create_time, start_stage, from_lot, draws, clearances, hold_expire_time
FROM runs
WHERE studio_key = @studio_key AND hold_expire_time > @at::timestamptz AND run_key > @after_key
ORDER BY run_key
LIMIT NULLIF(@max_rows::bigint, 0);

-- Those that waited too long, for a batch that does not know the studio's key yet.
-- name: LapsedRuns :many
SELECT r.run_key, r.run_id, r.title, r.recipe_id, r.recipe_version, r.department, r.maker, r.scale, r.inputs, r.acknowledged,
    r.revision, r.create_time, r.start_stage, r.from_lot, r.draws, r.clearances, r.hold_expire_time
FROM runs r
WHERE r.studio_key = (SELECT s.studio_key FROM studios s WHERE s.studio_id = @studio_id)
    AND r.hold_expire_time <= @at::timestamptz
ORDER BY r.run_key;

-- Studios in which a run waited, or an offer of time stood, longer than it may.
-- name: StudiosWithLapsed :many
SELECT s.studio_id FROM studios s
WHERE s.studio_key IN (
    SELECT r.studio_key FROM runs r WHERE r.hold_expire_time <= @at::timestamptz
    UNION SELECT t.studio_key FROM time_requests t WHERE t.offer_expire_time <= @at::timestamptz
)
ORDER BY s.studio_id;

-- Another run of the maker's by the recipe that stands or was done.
-- name: HasMade :one
SELECT EXISTS (
    SELECT FROM runs r JOIN loads l ON l.studio_key = r.studio_key AND l.run_key = r.run_key
    WHERE r.studio_key = @studio_key AND r.maker = @maker AND r.recipe_id = @recipe_id AND r.run_id <> @except_run_id
        AND l.state IN ('CONFIRMED', 'UNDER_FIRE', 'DRAWN')
);
