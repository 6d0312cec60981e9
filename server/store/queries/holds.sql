-- name: DeleteHolds :exec
DELETE FROM equipment_holds
WHERE studio_key = @studio_key AND run_key = ANY (@run_keys::bigint[]);

-- What is left is joined by commas, since a list of lists cannot be unnested.
-- name: InsertHolds :exec
INSERT INTO equipment_holds (studio_key, equipment_key, run_key, stage_id, during, item_count, alone, leaves)
SELECT @studio_key, e.equipment_key, u.run_key, u.stage_id, tstzrange(u.start_time, u.end_time), u.item_count, u.alone,
    string_to_array(u.leaves, ',')
FROM (
    SELECT unnest(@kinds::text[]) AS kind, unnest(@equipment_ids::text[]) AS equipment_id, unnest(@run_keys::bigint[]) AS run_key,
        unnest(@stage_ids::text[]) AS stage_id, unnest(@start_times::timestamptz[]) AS start_time,
        unnest(@end_times::timestamptz[]) AS end_time, unnest(@item_counts::integer[]) AS item_count,
        unnest(@alone::boolean[]) AS alone, unnest(@leaves::text[]) AS leaves
) AS u
LEFT JOIN equipment e ON e.studio_key = @studio_key AND e.kind = u.kind AND e.equipment_id = u.equipment_id;

-- The kind and ids that are empty leave nothing out; no runs that waited too long.
-- name: HoldsOf :many
SELECT h.hold_key, e.kind, e.equipment_id, h.run_key, r.run_id, h.stage_id, r.department,
    lower(h.during)::timestamptz AS start_time, upper(h.during)::timestamptz AS end_time, h.item_count, h.alone, h.leaves
FROM equipment_holds h
JOIN equipment e ON e.studio_key = h.studio_key AND e.equipment_key = h.equipment_key
JOIN runs r ON r.studio_key = h.studio_key AND r.run_key = h.run_key
WHERE h.studio_key = @studio_key
    AND (@kind::text = '' OR e.kind = @kind::text)
    AND (cardinality(@equipment_ids::text[]) = 0 OR e.equipment_id = ANY (@equipment_ids::text[]))
    AND upper(h.during) > @ends_after::timestamptz
    AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz)
    AND (lower(h.during), h.hold_key) > (@after_start::timestamptz, @after_key::bigint)
ORDER BY lower(h.during), h.hold_key
LIMIT NULLIF(@max_rows::bigint, 0);
