-- name: NewestMaterial :one
SELECT body
FROM material_versions
WHERE studio_key = @studio_key AND material_id = @material_id
ORDER BY version DESC
LIMIT 1;

-- name: GetMaterial :one
SELECT body
FROM material_versions
WHERE studio_key = @studio_key AND material_id = @material_id AND version = @version;

-- name: NewestMaterials :many
SELECT newest.body
FROM unnest(@material_ids::text[]) AS wanted (material_id)
CROSS JOIN LATERAL (
    SELECT v.body
    FROM material_versions v
    WHERE v.studio_key = @studio_key AND v.material_id = wanted.material_id
    ORDER BY v.version DESC
    LIMIT 1
) AS newest;

-- name: ListMaterials :many
SELECT DISTINCT ON (material_id) body
FROM material_versions
WHERE studio_key = @studio_key AND material_id > @after_id
ORDER BY material_id, version DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: InsertMaterial :exec
INSERT INTO material_versions (studio_key, material_id, version, body, create_time)
VALUES (@studio_key, @material_id, @version, @body, @create_time);
