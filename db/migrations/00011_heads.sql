-- +goose Up
SET LOCAL lock_timeout = '3s';

-- The squad's history as a chain: head is a hash over the head before it, the revision reached and what was written. A backup that is put
-- back goes on with another head, however far others have written since, so a reader who shows the head they hold learns of it.
ALTER TABLE squads_clock
    ADD COLUMN head        bytea  NOT NULL DEFAULT ''::bytea,
    ADD COLUMN heads_floor bigint NOT NULL DEFAULT 0; -- heads up to here have been forgotten

-- The head of each commit, as long as deletions are remembered. No reference to squads: it would lock the squad's row in each commit.
CREATE TABLE heads (
    squad_id uuid        NOT NULL,
    rev      bigint      NOT NULL,
    made_at  timestamptz NOT NULL,
    head     bytea       NOT NULL,
    CONSTRAINT heads_pkey PRIMARY KEY (squad_id, rev)
);
ALTER TABLE heads ENABLE ROW LEVEL SECURITY;
ALTER TABLE heads FORCE ROW LEVEL SECURITY;
CREATE POLICY heads_of_squad ON heads USING (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid)
    WITH CHECK (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON heads TO laneward_service;

-- Squads that exist begin with a random head and not with one made from what they hold: a backup from before this migration, put back,
-- written to and migrated again, must not come to the same head at the same revision.
-- +goose StatementBegin
DO $$
DECLARE
    one uuid;
BEGIN
    FOR one IN SELECT squad_id FROM squads_clock LOOP
        PERFORM set_config('laneward.squad', one::text, true);
        UPDATE squads_clock SET head = uuid_send(gen_random_uuid()) WHERE squad_id = one;
        INSERT INTO heads (squad_id, rev, made_at, head)
        SELECT squad_id, rev, now(), head FROM squads_clock WHERE squad_id = one;
    END LOOP;
    PERFORM set_config('laneward.squad', '', true);
END
$$;
-- +goose StatementEnd

-- What several squads have reached, for whoever follows them. It tells numbers only, to those who know the ids.
-- +goose StatementBegin
CREATE FUNCTION heads_of(squads uuid[]) RETURNS TABLE (squad_id uuid, rev bigint, head bytea)
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY SELECT c.squad_id, c.rev, c.head FROM squads_clock c WHERE c.squad_id = ANY(squads);
END
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION heads_of(uuid[]) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION heads_of(uuid[]) TO laneward_service;

-- Forgets the heads from before a moment, in all squads, but for the one that stood then: a reader from before that begins again, as one
-- from below the floor does.
CREATE POLICY heads_retention ON heads TO CURRENT_USER USING (true) WITH CHECK (true);
-- +goose StatementBegin
CREATE FUNCTION forget_heads(before timestamptz) RETURNS bigint
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    forgotten bigint;
BEGIN
    WITH stood AS (
        SELECT squad_id, max(rev) AS rev FROM heads WHERE made_at < before GROUP BY squad_id
    ), gone AS (
        DELETE FROM heads h USING stood s WHERE h.squad_id = s.squad_id AND h.rev < s.rev RETURNING h.squad_id, h.rev
    ), raised AS (
        UPDATE squads_clock c SET heads_floor = greatest(c.heads_floor, g.rev)
        FROM (SELECT squad_id, max(rev) AS rev FROM gone GROUP BY squad_id) g
        WHERE c.squad_id = g.squad_id
        RETURNING 1
    )
    SELECT count(*) INTO forgotten FROM gone WHERE (SELECT count(*) FROM raised) >= 0;
    RETURN forgotten;
END
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION forget_heads(timestamptz) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION forget_heads(timestamptz) TO laneward_service;
