-- Spreads a Laneward database over the machines of a Citus cluster, each squad on one of them. Run it once, as the owner of the tables, on a
-- database that `laneward migrate` has prepared and whose extension citus is there:
--
--     psql "$LANEWARD_OWNER_URL" -v ON_ERROR_STOP=1 -f deploy/distribute.sql
--
-- Every key of a squad's table begins with the squad, so that no key crosses machines. No order of the tables satisfies Citus while the
-- foreign keys stand (neither end may be local when the other is not), so they are taken off, and put back as they were. The tests run it
-- against stand-ins for Citus's two functions only.
BEGIN;

CREATE TEMPORARY TABLE squad_tables ON COMMIT DROP AS
SELECT c.oid::regclass AS name FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'squad_id' AND NOT a.attisdropped
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r';

CREATE TEMPORARY TABLE foreign_keys ON COMMIT DROP AS
SELECT k.conrelid::regclass AS child, k.conname AS name, pg_get_constraintdef(k.oid) AS definition
FROM pg_constraint k WHERE k.contype = 'f' AND k.conrelid IN (SELECT name FROM squad_tables);

DO $$
DECLARE
    k record;
BEGIN
    FOR k IN SELECT * FROM foreign_keys LOOP
        EXECUTE format('ALTER TABLE %s DROP CONSTRAINT %I', k.child, k.name);
    END LOOP;
END
$$;

-- People are in every machine's reach; what is only theirs (their sign-ins) stays where it is.
SELECT create_reference_table('users');

DO $$
DECLARE
    t regclass;
BEGIN
    PERFORM create_distributed_table('squads', 'squad_id');
    FOR t IN SELECT name FROM squad_tables WHERE name <> 'squads'::regclass ORDER BY name::text LOOP
        PERFORM create_distributed_table(t, 'squad_id', colocate_with => 'squads');
    END LOOP;
END
$$;

DO $$
DECLARE
    k record;
BEGIN
    FOR k IN SELECT * FROM foreign_keys ORDER BY child::text, name LOOP
        EXECUTE format('ALTER TABLE %s ADD CONSTRAINT %I %s', k.child, k.name, k.definition);
    END LOOP;
END
$$;

COMMIT;
