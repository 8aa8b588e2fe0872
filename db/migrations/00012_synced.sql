-- +goose Up
SET LOCAL lock_timeout = '3s';

-- When each device last had everything of the squad, and up to which revision. A device is a sign-in, and goes with it. It is written every
-- few minutes at most, and not under the squad's counter: no feed has it.
CREATE TABLE device_syncs (
    squad_id  uuid        NOT NULL,
    sign_in   uuid        NOT NULL,
    user_id   uuid        NOT NULL,
    device    text        NOT NULL,
    rev       bigint      NOT NULL,
    synced_at timestamptz NOT NULL,
    CONSTRAINT device_syncs_pkey PRIMARY KEY (squad_id, sign_in),
    CONSTRAINT device_syncs_sign_in FOREIGN KEY (sign_in) REFERENCES refresh_families (id) ON DELETE CASCADE
);
CREATE INDEX device_syncs_by_sign_in ON device_syncs (sign_in);
ALTER TABLE device_syncs ENABLE ROW LEVEL SECURITY;
ALTER TABLE device_syncs FORCE ROW LEVEL SECURITY;
CREATE POLICY device_syncs_of_squad ON device_syncs USING (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid)
    WITH CHECK (squad_id = nullif(current_setting('laneward.squad', true), '')::uuid);
GRANT SELECT, INSERT, UPDATE, DELETE ON device_syncs TO laneward_service;
