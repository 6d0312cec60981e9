-- name: InsertChange :exec
INSERT INTO changes (studio_key, revision, change_time, caller_id, request_id, method, subject, before, after)
VALUES (@studio_key, @revision, @change_time, @caller_id, @request_id, @method, @subject, @before, @after);

-- name: ListChanges :many
SELECT studio_key, revision, change_time, caller_id, request_id, method, subject, before, after
FROM changes
WHERE studio_key = @studio_key AND revision > @after_revision
ORDER BY revision
LIMIT NULLIF(@max_rows::bigint, 0);
