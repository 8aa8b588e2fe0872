-- +goose Up
SET LOCAL lock_timeout = '3s';

-- When a sign-in was last refreshed; NULL: not since it began.
ALTER TABLE refresh_families ADD COLUMN last_used_at timestamptz;

-- A one-time code with which somebody who cannot sign in sets a new password. Only the hash is stored. for_squad is the squad whose coach
-- made it, NULL when whoever runs the server did.
CREATE TABLE reset_codes (
    hash       bytea PRIMARY KEY,
    user_id    uuid        NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    for_squad  uuid,
    made_by    uuid        NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at    timestamptz
);
CREATE INDEX reset_codes_user ON reset_codes (user_id);

-- The codes that somebody made for themselves against the day they forget their password. Only hashes are stored.
CREATE TABLE recovery_codes (
    hash       bytea PRIMARY KEY,
    user_id    uuid        NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    created_at timestamptz NOT NULL,
    used_at    timestamptz
);
CREATE INDEX recovery_codes_user ON recovery_codes (user_id);

-- Public keys to sign in with (WebAuthn). credential_id is the authenticator's own name for the key; credential is what the library keeps.
CREATE TABLE passkeys (
    id            uuid PRIMARY KEY,
    user_id       uuid        NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    credential_id bytea       NOT NULL CONSTRAINT passkeys_credential UNIQUE,
    credential    jsonb       NOT NULL,
    name          text        NOT NULL,
    created_at    timestamptz NOT NULL,
    last_used_at  timestamptz,
    CONSTRAINT passkeys_name_length CHECK (length(name) BETWEEN 1 AND 100)
);
CREATE INDEX passkeys_user ON passkeys (user_id);

-- A registration or a sign-in with a passkey that has begun: its challenge works once, and for minutes. user_id is NULL for a sign-in.
CREATE TABLE passkey_ceremonies (
    id         uuid PRIMARY KEY,
    user_id    uuid REFERENCES users (id) ON DELETE CASCADE,
    data       jsonb       NOT NULL,
    expires_at timestamptz NOT NULL
);
CREATE INDEX passkey_ceremonies_expiry ON passkey_ceremonies (expires_at);

-- What was done to accounts, roles and people's data in a squad. It keeps ids and no names: an erased athlete and a deleted account are
-- not named by it.
CREATE TABLE audit_log (
    squad_id uuid        NOT NULL REFERENCES squads (squad_id),
    id       uuid        NOT NULL,
    at       timestamptz NOT NULL,
    action   text        NOT NULL,
    by_user  uuid        NOT NULL,
    subject  uuid        NOT NULL,
    detail   text        NOT NULL DEFAULT '',
    CONSTRAINT audit_log_pkey PRIMARY KEY (squad_id, id)
);
ALTER TABLE audit_log ENABLE ROW LEVEL SECURITY;
ALTER TABLE audit_log FORCE ROW LEVEL SECURITY;
CREATE POLICY audit_log_of_squad ON audit_log USING (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid)
    WITH CHECK (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid);

GRANT SELECT, INSERT, UPDATE, DELETE ON audit_log TO laneward_service;
GRANT SELECT, INSERT, UPDATE, DELETE ON reset_codes, recovery_codes, passkeys, passkey_ceremonies TO laneward_service;
GRANT DELETE ON users TO laneward_service;
