-- name: GetLot :one
SELECT lot_key, lot_id, body, mass_micrograms, reserved_micrograms, described_revision, revision, create_time
FROM lots
WHERE studio_key = @studio_key AND lot_id = @lot_id;

-- name: GetLots :many
SELECT lot_key, lot_id, body, mass_micrograms, reserved_micrograms, described_revision, revision, create_time
FROM lots
WHERE studio_key = @studio_key AND lot_id = ANY (@lot_ids::text[])
ORDER BY lot_id;

-- name: ListLots :many
SELECT lot_key, lot_id, body, mass_micrograms, reserved_micrograms, described_revision, revision, create_time
FROM lots
WHERE studio_key = @studio_key AND lot_id > @after_id
    AND (@department::text = '' OR department = @department::text)
    AND (@material_id::text = '' OR material_id = @material_id::text)
    AND (@from_run::text = '' OR from_run = @from_run::text)
    AND (NOT @low_stock::boolean OR mass_micrograms - reserved_micrograms < low_stock_micrograms)
    AND (@show_empty::boolean OR mass_micrograms > 0 OR @low_stock::boolean)
ORDER BY lot_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: InsertLot :exec
INSERT INTO lots (studio_key, lot_id, department, material_id, from_run, body, mass_micrograms, reserved_micrograms,
    low_stock_micrograms, described_revision, revision, create_time)
VALUES (@studio_key, @lot_id, @department, @material_id, @from_run, @body, 0, 0, @low_stock_micrograms, @revision, @revision,
    @create_time);

-- name: DescribeLot :execrows
UPDATE lots
SET department = @department, body = @body, low_stock_micrograms = @low_stock_micrograms, described_revision = @revision,
    revision = @revision
WHERE studio_key = @studio_key AND lot_id = @lot_id;

-- What is drawn under the lock must be of the lots as they were looked at: a lot that was described anew since is left alone,
-- and the count of rows tells. Of a described_revision of 0 any will do.
-- name: MoveLotMasses :execrows
UPDATE lots
SET mass_micrograms = lots.mass_micrograms + u.mass_change, reserved_micrograms = lots.reserved_micrograms + u.reserved_change,
    revision = u.revision
FROM (
    SELECT unnest(@lot_ids::text[]) AS lot_id, unnest(@mass_changes::bigint[]) AS mass_change,
        unnest(@reserved_changes::bigint[]) AS reserved_change, unnest(@described_revisions::bigint[]) AS described_revision,
        unnest(@revisions::bigint[]) AS revision
) AS u
WHERE lots.studio_key = @studio_key AND lots.lot_id = u.lot_id
    AND (u.described_revision = 0 OR lots.described_revision = u.described_revision);

-- What is there afterwards is counted back from the end where one booking touches a lot at several revisions.
-- name: InsertLotEntries :exec
INSERT INTO lot_entries (studio_key, revision, lot_key, entry_time, caller_id, kind, mass_change, reserved_change,
    mass_micrograms, reserved_micrograms, run_id, reason)
SELECT @studio_key, u.revision, lots.lot_key, @entry_time, @caller_id, u.kind, u.mass_change, u.reserved_change,
    lots.mass_micrograms - coalesce(sum(u.mass_change) OVER later, 0)::bigint,
    lots.reserved_micrograms - coalesce(sum(u.reserved_change) OVER later, 0)::bigint, u.run_id, u.reason
FROM (
    SELECT unnest(@lot_ids::text[]) AS lot_id, unnest(@kinds::text[]) AS kind, unnest(@mass_changes::bigint[]) AS mass_change,
        unnest(@reserved_changes::bigint[]) AS reserved_change, unnest(@revisions::bigint[]) AS revision,
        unnest(@run_ids::text[]) AS run_id, unnest(@reasons::text[]) AS reason
) AS u
JOIN lots ON lots.studio_key = @studio_key AND lots.lot_id = u.lot_id
WINDOW later AS (PARTITION BY u.lot_id ORDER BY u.revision ROWS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING);

-- name: ListLotEntries :many
SELECT l.lot_id, e.revision, e.lot_key, e.entry_time, e.caller_id, e.kind, e.mass_change, e.reserved_change, e.mass_micrograms,
    e.reserved_micrograms, e.run_id, e.reason
FROM lot_entries e
JOIN lots l ON l.studio_key = e.studio_key AND l.lot_key = e.lot_key
WHERE e.studio_key = @studio_key AND (@lot_id::text = '' OR l.lot_id = @lot_id::text)
    AND (e.revision, e.lot_key) < (@before_revision::bigint, @before_key::bigint)
ORDER BY e.revision DESC, e.lot_key DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- What was taken out of a lot and has not come back.
-- name: LotTaken :one
SELECT coalesce(-sum(e.mass_change), 0)::bigint
FROM lot_entries e
JOIN lots l ON l.studio_key = e.studio_key AND l.lot_key = e.lot_key
WHERE e.studio_key = @studio_key AND l.lot_id = @lot_id AND e.kind IN ('TAKEN', 'RETURNED');

-- What lots that one load made weighed when they were put down.
-- name: LotsMade :one
SELECT coalesce(sum(e.mass_change), 0)::bigint
FROM lots l
JOIN lot_entries e ON e.studio_key = l.studio_key AND e.lot_key = l.lot_key AND e.kind = 'CREATED'
WHERE l.studio_key = @studio_key AND l.from_run = @from_run AND l.body ->> 'from_stage' = @from_stage::text;

-- name: RunsReserving :many
SELECT run_id, maker
FROM runs
WHERE studio_key = @studio_key AND draws @> jsonb_build_array(jsonb_build_object('lot', @lot_id::text, 'state', 'RESERVED'))
ORDER BY run_id;
