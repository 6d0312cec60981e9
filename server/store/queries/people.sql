-- name: GetDepartment :one
SELECT department_id, title, revision FROM departments
WHERE studio_key = @studio_key AND department_id = @department_id;

-- name: ListDepartments :many
SELECT department_id, title, revision FROM departments
WHERE studio_key = @studio_key AND department_id > @after_id
ORDER BY department_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: PutDepartment :exec
INSERT INTO departments (studio_key, department_id, title, revision)
VALUES (@studio_key, @department_id, @title, @revision)
ON CONFLICT ON CONSTRAINT departments_pkey DO UPDATE SET title = excluded.title, revision = excluded.revision;

-- name: DeleteDepartment :execrows
DELETE FROM departments WHERE studio_key = @studio_key AND department_id = @department_id;

-- name: CountPeopleOf :one
SELECT count(*) FROM people WHERE studio_key = @studio_key AND @department_id::text = ANY (departments);

-- name: GetPerson :one
SELECT person_id, title, role, departments, trainings, openid_subject, revision FROM people
WHERE studio_key = @studio_key AND person_id = @person_id;

-- name: ListPeople :many
SELECT person_id, title, role, departments, trainings, openid_subject, revision FROM people
WHERE studio_key = @studio_key AND person_id > @after_id
ORDER BY person_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: PutPerson :exec
INSERT INTO people (studio_key, person_id, title, role, departments, trainings, openid_subject, revision)
VALUES (@studio_key, @person_id, @title, @role, @departments, @trainings, sqlc.narg(openid_subject), @revision)
ON CONFLICT ON CONSTRAINT people_pkey DO UPDATE SET title = excluded.title, role = excluded.role,
    departments = excluded.departments, trainings = excluded.trainings, openid_subject = excluded.openid_subject,
    revision = excluded.revision;

-- name: DeletePerson :execrows
DELETE FROM people WHERE studio_key = @studio_key AND person_id = @person_id;

-- The one read by which the bearer of a token comes in.
-- name: MembershipsOf :many
SELECT s.studio_id, p.person_id, p.role
FROM people p JOIN studios s ON s.studio_key = p.studio_key
WHERE p.openid_subject = @openid_subject::text
ORDER BY s.studio_id;

-- Whoever leaves takes no key along, so that a later person of the same id is not opened to by it.
-- name: RevokeKeysOf :exec
UPDATE access_keys SET revoke_time = @revoke_time::timestamptz
WHERE studio_key = @studio_key::bigint AND caller_id = @caller_id AND revoke_time IS NULL;

-- For what the studio keeps trainings at all.
-- name: TrainingSubjects :many
SELECT DISTINCT (t.training ->> 'subject')::text AS subject
FROM people p, jsonb_array_elements(p.trainings) AS t (training)
WHERE p.studio_key = @studio_key
ORDER BY subject;
