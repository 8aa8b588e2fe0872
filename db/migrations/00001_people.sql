-- +goose Up

-- The service works under this role: it owns nothing and row-level security binds it.
-- +goose StatementBegin
DO $$
BEGIN
    CREATE ROLE laneward_service NOLOGIN NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE;
EXCEPTION WHEN duplicate_object OR unique_violation THEN
    NULL; -- roles belong to the cluster; another database of it has made this one
END
$$;
-- +goose StatementEnd
-- +goose StatementBegin
DO $$
BEGIN
    -- Whoever migrates may also connect for the service, which then takes the role on.
    IF NOT pg_has_role(current_user, 'laneward_service', 'MEMBER') THEN
        EXECUTE format('GRANT laneward_service TO %I', current_user);
    END IF;
END
$$;
-- +goose StatementEnd

-- One row. The epoch is in every cursor, so that a cursor from before a restore is known as such.
CREATE TABLE instance (
    only_row boolean PRIMARY KEY DEFAULT true CONSTRAINT instance_only_row CHECK (only_row),
    epoch    uuid NOT NULL DEFAULT gen_random_uuid()
);
INSERT INTO instance DEFAULT VALUES;

-- People are the one thing that is not a squad's: one person may belong to several.
CREATE TABLE users (
    id            uuid PRIMARY KEY,
    email         text        NOT NULL CONSTRAINT users_email_key UNIQUE,
    name          text        NOT NULL,
    password_hash text        NOT NULL,
    created_at    timestamptz NOT NULL,
    CONSTRAINT users_email_lower CHECK (email = lower(email)),
    CONSTRAINT users_name_length CHECK (length(name) BETWEEN 1 AND 200)
);

-- A family is one sign-in on one device; its tokens replace each other.
CREATE TABLE refresh_families (
    id         uuid PRIMARY KEY,
    user_id    uuid        NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    device     text        NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    revoked_at timestamptz
);
CREATE INDEX refresh_families_user ON refresh_families (user_id);

-- Only hashes are stored. The successor of a token is HMAC(next_seed, token): a client whose answer got lost asks again with the
-- same token and is given the same successor, although the database alone can produce neither.
CREATE TABLE refresh_tokens (
    hash      bytea PRIMARY KEY,
    family_id uuid        NOT NULL REFERENCES refresh_families (id) ON DELETE CASCADE,
    next_seed bytea       NOT NULL,
    issued_at timestamptz NOT NULL,
    spent_at  timestamptz
);
CREATE INDEX refresh_tokens_family ON refresh_tokens (family_id);

-- Failed sign-ins by account and by network, for the throttle.
CREATE TABLE sign_in_failures (
    subject        text PRIMARY KEY,
    failures       integer     NOT NULL,
    last_failed_at timestamptz NOT NULL
);

CREATE TABLE squads (
    squad_id   uuid PRIMARY KEY,
    rev        bigint      NOT NULL,
    hash       bytea       NOT NULL,
    name       text        NOT NULL,
    invented   boolean     NOT NULL DEFAULT false,
    created_at timestamptz NOT NULL,
    CONSTRAINT squads_name_length CHECK (length(name) BETWEEN 1 AND 200)
);

-- The squad's revision counter. Each write transaction locks the row, so commit order is revision order.
CREATE TABLE squads_clock (
    squad_id uuid PRIMARY KEY,
    rev      bigint NOT NULL,
    CONSTRAINT squads_clock_squad FOREIGN KEY (squad_id) REFERENCES squads (squad_id) ON DELETE CASCADE DEFERRABLE INITIALLY IMMEDIATE
) WITH (fillfactor = 50);

GRANT SELECT ON instance, goose_db_version TO laneward_service;
GRANT SELECT, INSERT, UPDATE ON users TO laneward_service;
GRANT SELECT, INSERT, UPDATE, DELETE ON refresh_families, refresh_tokens, sign_in_failures TO laneward_service;
