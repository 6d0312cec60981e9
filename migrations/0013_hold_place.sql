-- Nothing: the step of this number comes from another line of work and takes this file's place.
SELECT 1;

---- create above / drop below ----

SELECT 1;
