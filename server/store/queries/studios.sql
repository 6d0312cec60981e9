-- name: GetStudio :one
SELECT studio_key, studio_id, title, time_zone, step_minutes, charge_minutes, draw_minutes, acid_mist_fraction,
    revision, equipment_revision, own_revision, create_time, own_limits, chain_sha256, clean_minutes, offer_minutes, interlock_test_months
FROM studios
WHERE studio_id = @studio_id;

-- Every writer waits here. Nothing else may be read in this statement: what it reads besides the row would be as old as
-- the wait. Foreign keys need no wait, hence NO KEY.
-- name: LockStudio :one
SELECT studio_key, studio_id, title, time_zone, step_minutes, charge_minutes, draw_minutes, acid_mist_fraction,
    revision, equipment_revision, own_revision, create_time, own_limits, chain_sha256, clean_minutes, offer_minutes, interlock_test_months
FROM studios
WHERE studio_id = @studio_id
FOR NO KEY UPDATE;

-- name: ListStudios :many
SELECT studio_key, studio_id, title, time_zone, step_minutes, charge_minutes, draw_minutes, acid_mist_fraction,
    revision, equipment_revision, own_revision, create_time, own_limits, chain_sha256, clean_minutes, offer_minutes, interlock_test_months
FROM studios
WHERE studio_id > @after_id AND (@every::boolean OR studio_id = ANY (@studio_ids::text[]))
ORDER BY studio_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: InsertStudio :one
INSERT INTO studios (studio_id, title, time_zone, step_minutes, charge_minutes, draw_minutes, clean_minutes, acid_mist_fraction,
    revision, equipment_revision, own_revision, create_time, own_limits, offer_minutes, interlock_test_months)
VALUES (@studio_id, @title, @time_zone, @step_minutes, @charge_minutes, @draw_minutes, @clean_minutes, @acid_mist_fraction,
    @revision, @equipment_revision, @own_revision, @create_time, @own_limits, @offer_minutes, @interlock_test_months)
RETURNING studio_key, create_time;

-- name: UpdateStudio :execrows
UPDATE studios
SET title = @title, time_zone = @time_zone, step_minutes = @step_minutes, charge_minutes = @charge_minutes,
    draw_minutes = @draw_minutes, clean_minutes = @clean_minutes, acid_mist_fraction = @acid_mist_fraction, own_limits = @own_limits,
    offer_minutes = @offer_minutes, interlock_test_months = @interlock_test_months,
    revision = @revision, equipment_revision = @equipment_revision, own_revision = @own_revision,
    chain_sha256 = @chain_sha256
WHERE studio_key = @studio_key;

-- name: SetStudioRevisions :exec
UPDATE studios
SET revision = @revision, equipment_revision = @equipment_revision, own_revision = @own_revision,
    chain_sha256 = @chain_sha256
WHERE studio_key = @studio_key;
