-- +goose Up

-- Below the floor some tombstones have been pruned: a cursor from there has missed deletions.
ALTER TABLE squads_clock ADD COLUMN floor bigint NOT NULL DEFAULT 0;

-- The counters of several squads at once, for whoever follows them. It tells numbers only, to those who know the ids.
-- +goose StatementBegin
CREATE FUNCTION clocks_of(squads uuid[]) RETURNS TABLE (squad_id uuid, rev bigint)
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT c.squad_id, c.rev FROM squads_clock c WHERE c.squad_id = ANY(squads)
$$;
-- +goose StatementEnd
CREATE POLICY squads_clock_look_up ON squads_clock FOR SELECT TO CURRENT_USER USING (true);
REVOKE ALL ON FUNCTION clocks_of(uuid[]) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION clocks_of(uuid[]) TO laneward_service;
