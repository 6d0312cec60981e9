-- No statement alters or removes what the trace holds, not even of a server that serves as the schema's owner. Whoever owns the
-- table can lift this; the chain shows what they did then.

SET LOCAL lock_timeout = '5s';

CREATE FUNCTION refuse_change_of_trace() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'entries of the trace are only ever added' USING ERRCODE = 'insufficient_privilege';
END
$$;

CREATE TRIGGER changes_only_added BEFORE UPDATE OR DELETE OR TRUNCATE ON changes
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change_of_trace();

---- create above / drop below ----

DROP TRIGGER changes_only_added ON changes;
DROP FUNCTION refuse_change_of_trace();
