-- +goose Up
SET LOCAL lock_timeout = '3s';

-- The service may sign in as its role, and on a distributed Postgres the workers are entered as it. It has no password until it is given
-- one, so that a server that asks for passwords lets nobody in by it.
-- +goose StatementBegin
DO $$
BEGIN
    IF NOT (SELECT rolcanlogin FROM pg_roles WHERE rolname = 'laneward_service') THEN
        ALTER ROLE laneward_service LOGIN;
    END IF;
EXCEPTION WHEN insufficient_privilege THEN
    -- A role that an administrator has prepared: the service signs in as a member of it.
    RAISE NOTICE 'laneward_service may not sign in itself: a superuser may ALTER ROLE laneward_service LOGIN';
END
$$;
-- +goose StatementEnd

-- A distributed Postgres takes no sub-select in a policy. The setting is the same for each row of a statement, so it is looked up in the
-- index as before.
-- +goose StatementBegin
DO $$
DECLARE
    t text;
BEGIN
    FOREACH t IN ARRAY ARRAY['squads', 'squads_clock', 'athletes', 'memberships', 'invitations', 'patterns', 'balls', 'sessions',
                             'drills', 'assignments', 'shots', 'tombstones', 'history'] LOOP
        EXECUTE format('ALTER POLICY %I ON %I USING (squad_id = nullif(current_setting(''laneward.squad'', true), '''')::uuid) '
            'WITH CHECK (squad_id = nullif(current_setting(''laneward.squad'', true), '''')::uuid)', t || '_of_squad', t);
    END LOOP;
END
$$;
-- +goose StatementEnd

-- The functions that see more than one squad, in PL/pgSQL: a distributed Postgres plans no SQL function that has parameters. Each does
-- what it did, and keeps its owner and who may run it.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION squads_of(member uuid) RETURNS TABLE (squad_id uuid, name text, role text, athlete_id uuid)
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY
    SELECT s.squad_id, s.name, m.role, m.athlete_id
    FROM memberships m JOIN squads s ON s.squad_id = m.squad_id
    WHERE m.user_id = member
    ORDER BY s.name, s.squad_id;
END
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION squad_of_invitation(code bytea) RETURNS uuid
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
    RETURN (SELECT squad_id FROM invitations WHERE code_hash = code);
END
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION clocks_of(squads uuid[]) RETURNS TABLE (squad_id uuid, rev bigint)
    LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY SELECT c.squad_id, c.rev FROM squads_clock c WHERE c.squad_id = ANY(squads);
END
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION forget_tombstones(before timestamptz) RETURNS bigint
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    forgotten bigint;
BEGIN
    WITH gone AS (
        DELETE FROM tombstones WHERE deleted_at < before RETURNING squad_id, rev
    ), raised AS (
        UPDATE squads_clock c SET floor = greatest(c.floor, g.rev)
        FROM (SELECT squad_id, max(rev) AS rev FROM gone GROUP BY squad_id) g
        WHERE c.squad_id = g.squad_id
        RETURNING 1
    )
    SELECT count(*) INTO forgotten FROM gone WHERE (SELECT count(*) FROM raised) >= 0;
    RETURN forgotten;
END
$$;
-- +goose StatementEnd
