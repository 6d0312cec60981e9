-- name: AllBookingRules :many
SELECT kind, rule_id, revision, body FROM booking_rules
WHERE studio_key = @studio_key
ORDER BY kind, rule_id;

-- name: GetBookingRule :one
SELECT kind, rule_id, revision, body FROM booking_rules
WHERE studio_key = @studio_key AND kind = @kind AND rule_id = @rule_id;

-- name: ListBookingRules :many
SELECT kind, rule_id, revision, body FROM booking_rules
WHERE studio_key = @studio_key AND kind = @kind AND rule_id > @after_id
ORDER BY rule_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: PutBookingRule :exec
INSERT INTO booking_rules (studio_key, kind, rule_id, revision, body)
VALUES (@studio_key, @kind, @rule_id, @revision, @body)
ON CONFLICT ON CONSTRAINT booking_rules_pkey DO UPDATE SET revision = excluded.revision, body = excluded.body;

-- name: DeleteBookingRule :execrows
DELETE FROM booking_rules WHERE studio_key = @studio_key AND kind = @kind AND rule_id = @rule_id;
