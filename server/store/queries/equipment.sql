-- name: AllEquipment :many
SELECT equipment_key, kind, equipment_id, revision, body
FROM equipment
WHERE studio_key = @studio_key
ORDER BY kind, equipment_id;

-- name: GetEquipment :one
SELECT equipment_key, kind, equipment_id, revision, body
FROM equipment
WHERE studio_key = @studio_key AND kind = @kind AND equipment_id = @equipment_id;

-- name: ListEquipment :many
SELECT equipment_key, kind, equipment_id, revision, body
FROM equipment
WHERE studio_key = @studio_key AND kind = @kind AND equipment_id > @after_id
ORDER BY equipment_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: PutEquipment :one
INSERT INTO equipment (studio_key, kind, equipment_id, revision, body)
VALUES (@studio_key, @kind, @equipment_id, @revision, @body)
ON CONFLICT ON CONSTRAINT equipment_id_unique DO UPDATE SET revision = excluded.revision, body = excluded.body
RETURNING equipment_key;

-- name: DeleteEquipment :execrows
DELETE FROM equipment
WHERE studio_key = @studio_key AND kind = @kind AND equipment_id = @equipment_id;
