-- The limits of air that a studio sets for itself, as one list: every check reads all of them.

SET LOCAL lock_timeout = '5s';

ALTER TABLE studios ADD COLUMN own_limits jsonb NOT NULL DEFAULT '[]';

---- create above / drop below ----

ALTER TABLE studios DROP COLUMN own_limits;
