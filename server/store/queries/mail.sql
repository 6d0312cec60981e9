-- name: GetMailChoice :one
SELECT studio_key, person_id, email, pace, revision, told_revision, pending_revision, next_time, lease_time, attempts, failure,
    sent_time, dropped_time
FROM mail_choices
WHERE studio_key = @studio_key AND person_id = @person_id;

-- name: ListMailChoices :many
SELECT studio_key, person_id, email, pace, revision, told_revision, pending_revision, next_time, lease_time, attempts, failure,
    sent_time, dropped_time
FROM mail_choices
WHERE studio_key = @studio_key AND person_id > @after_id AND (@owner::text = '' OR person_id = @owner)
ORDER BY person_id
LIMIT NULLIF(@max_rows::bigint, 0);

-- A letter on its way is given up when the choice changes: the next one begins where it began.
-- name: PutMailChoice :exec
INSERT INTO mail_choices (studio_key, person_id, email, pace, revision, told_revision, next_time, attempts, failure)
VALUES (@studio_key, @person_id, @email, @pace, @revision, @told_revision, @next_time, 0, '')
ON CONFLICT ON CONSTRAINT mail_choices_pkey DO UPDATE SET email = excluded.email, pace = excluded.pace,
    revision = excluded.revision, told_revision = excluded.told_revision, next_time = excluded.next_time, attempts = 0,
    failure = '', pending_revision = NULL, lease_time = NULL;

-- The next one who is due and whom no other server has at the moment. Whoever is written to at once is looked after only when
-- something happened.
-- name: ClaimMail :one
UPDATE mail_choices m
SET lease_time = @lease_time::timestamptz, attempts = m.attempts + 1,
    pending_revision = COALESCE(m.pending_revision, LEAST(s.revision, m.told_revision + @most_revisions::bigint))
FROM studios s
WHERE s.studio_key = m.studio_key AND (m.studio_key, m.person_id) = (
    SELECT c.studio_key, c.person_id
    FROM mail_choices c
    JOIN studios t ON t.studio_key = c.studio_key
    WHERE c.pace <> 'none' AND c.email <> '' AND c.next_time <= @now::timestamptz
        AND (c.lease_time IS NULL OR c.lease_time <= @now::timestamptz)
        AND (c.pace <> 'at_once' OR t.revision > c.told_revision)
    ORDER BY c.next_time, c.studio_key, c.person_id
    LIMIT 1
    FOR UPDATE OF c SKIP LOCKED)
RETURNING s.studio_id, m.studio_key, m.person_id, m.email, m.pace, m.revision, m.told_revision,
    m.pending_revision::bigint AS pending_revision, m.attempts;

-- What was claimed is done with: told, given up, or nothing to them. A choice that changed meanwhile stays as it is.
-- name: EndMail :exec
UPDATE mail_choices
SET told_revision = @told_revision, pending_revision = NULL, lease_time = NULL, next_time = @next_time, attempts = 0,
    failure = @failure, sent_time = COALESCE(sqlc.narg(sent_time)::timestamptz, sent_time),
    dropped_time = COALESCE(sqlc.narg(dropped_time)::timestamptz, dropped_time)
WHERE studio_key = @studio_key AND person_id = @person_id AND pending_revision = @told_revision AND revision = @revision;

-- It is tried again later.
-- name: DelayMail :exec
UPDATE mail_choices
SET lease_time = NULL, next_time = @next_time, failure = @failure
WHERE studio_key = @studio_key AND person_id = @person_id AND pending_revision = @pending_revision AND revision = @revision;
