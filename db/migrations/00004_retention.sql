-- +goose Up

-- Forgets deletions from before a moment, in all squads, and raises each squad's floor to the newest one forgotten: a cursor from below it
-- would miss them and is turned away. History keeps the ids, so that a forgotten record does not come back by an old push.
CREATE POLICY tombstones_retention ON tombstones TO CURRENT_USER USING (true) WITH CHECK (true);
CREATE POLICY squads_clock_retention ON squads_clock FOR UPDATE TO CURRENT_USER USING (true) WITH CHECK (true);
-- +goose StatementBegin
CREATE FUNCTION forget_tombstones(before timestamptz) RETURNS bigint
    LANGUAGE sql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    WITH gone AS (
        DELETE FROM tombstones WHERE deleted_at < before RETURNING squad_id, rev
    ), raised AS (
        UPDATE squads_clock c SET floor = greatest(c.floor, g.rev)
        FROM (SELECT squad_id, max(rev) AS rev FROM gone GROUP BY squad_id) g
        WHERE c.squad_id = g.squad_id
        RETURNING 1
    )
    SELECT count(*) FROM gone WHERE (SELECT count(*) FROM raised) >= 0
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION forget_tombstones(timestamptz) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION forget_tombstones(timestamptz) TO laneward_service;
