-- +goose Up
SET LOCAL lock_timeout = '3s';

-- What several servers on one database have in common. Each signs access tokens by keys of its own, whose private halves never leave it; here
-- are the public ones, by which the others check. A server says every minute that it still has a key.
CREATE TABLE server_keys (
    id         text PRIMARY KEY,
    public_key bytea       NOT NULL,
    seen_at    timestamptz NOT NULL,
    CONSTRAINT server_keys_length CHECK (length(public_key) = 32)
);

-- What all of them sign cursors and the like by: the first one's stand for all.
CREATE TABLE shared_secrets (
    purpose text PRIMARY KEY,
    secret  bytea NOT NULL
);

GRANT SELECT, INSERT, UPDATE, DELETE ON server_keys TO laneward_service;
GRANT SELECT, INSERT ON shared_secrets TO laneward_service;

-- Which squads have been written since a moment, for all who follow any, at a cost that does not depend on how many are followed: the
-- counters' rows whose last writer was not surely done then. upto is the moment to ask from next time; since 0 only asks for that. While
-- nothing is written it reads no table. Moments are transaction numbers of this server alone.
-- +goose StatementBegin
CREATE FUNCTION clocks_since(since bigint) RETURNS TABLE (upto bigint, squad_ids uuid[], revs bigint[])
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
#variable_conflict use_column
DECLARE
    now_at pg_snapshot := pg_current_snapshot();
BEGIN
    upto := pg_snapshot_xmin(now_at)::text::bigint;
    squad_ids := '{}';
    revs := '{}';
    IF since > 0 AND pg_snapshot_xmax(now_at)::text::bigint > since THEN
        SELECT coalesce(array_agg(c.squad_id), '{}'), coalesce(array_agg(c.rev), '{}') INTO squad_ids, revs
        FROM squads_clock c WHERE age(c.xmin) <= age(since::text::xid8::xid);
    END IF;
    RETURN NEXT;
END
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION clocks_since(bigint) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION clocks_since(bigint) TO laneward_service;
