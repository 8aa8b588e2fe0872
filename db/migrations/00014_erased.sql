-- +goose Up
SET LOCAL lock_timeout = '3s';

-- What is refused for good, because it was erased: the athlete, and the sessions, balls and assignments that were theirs. It keeps ids and
-- nothing else, of no kind. A shot is not in it: each names its athlete, who is, so that an athlete of 100,000 shots leaves some thousand
-- rows. No reference to squads: it would lock the squad's row.
CREATE TABLE erased_ids (
    squad_id uuid NOT NULL,
    id       uuid NOT NULL,
    CONSTRAINT erased_ids_pkey PRIMARY KEY (squad_id, id)
);
ALTER TABLE erased_ids ENABLE ROW LEVEL SECURITY;
ALTER TABLE erased_ids FORCE ROW LEVEL SECURITY;
CREATE POLICY erased_ids_of_squad ON erased_ids USING (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid)
    WITH CHECK (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON erased_ids TO laneward_service;

-- Whoever was erased before, as far as the log and the deletions still say.
-- +goose StatementBegin
DO $$
DECLARE
    one uuid;
BEGIN
    FOR one IN SELECT squad_id FROM squads_clock LOOP
        PERFORM set_config('laneward.squad', one::text, true);
        INSERT INTO erased_ids (squad_id, id)
        SELECT l.squad_id, l.subject FROM audit_log l WHERE l.squad_id = one AND l.action = 'erased'
        UNION
        SELECT t.squad_id, t.id FROM audit_log l JOIN tombstones t ON t.squad_id = l.squad_id AND t.athlete_id = l.subject AND t.kind <> 'shot'
        WHERE l.squad_id = one AND l.action = 'erased';
    END LOOP;
    PERFORM set_config('laneward.squad', '', true);
END
$$;
-- +goose StatementEnd
