-- +goose Up

-- Every table below is a squad's. Its keys begin with squad_id, and each row of a synced kind carries
--   rev   the squad's counter at the row's last change, unique within the squad,
--   hash  a digest of the payload the row was last written from: a resent payload is known by it.
-- A deleted row leaves its table and stands in tombstones; what it said stands in history.

CREATE TABLE athletes (
    squad_id         uuid   NOT NULL REFERENCES squads (squad_id),
    id               uuid   NOT NULL,
    rev              bigint NOT NULL,
    hash             bytea  NOT NULL,
    name             text   NOT NULL,
    side             text   NOT NULL,
    speed_mph        double precision,
    rev_rate_rpm     double precision,
    rotation_deg     double precision,
    tilt_deg         double precision,
    slide_offset     double precision,
    born_on          date,
    guardian_name    text,
    guardian_consent date,
    note             text   NOT NULL DEFAULT '',
    CONSTRAINT athletes_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT athletes_rev UNIQUE (squad_id, rev),
    CONSTRAINT athletes_side CHECK (side IN ('right', 'left')),
    CONSTRAINT athletes_name CHECK (length(name) BETWEEN 1 AND 200)
);

CREATE TABLE memberships (
    squad_id   uuid   NOT NULL REFERENCES squads (squad_id),
    id         uuid   NOT NULL,
    rev        bigint NOT NULL,
    hash       bytea  NOT NULL,
    user_id    uuid   NOT NULL REFERENCES users (id),
    name       text   NOT NULL,
    role       text   NOT NULL,
    athlete_id uuid,
    CONSTRAINT memberships_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT memberships_rev UNIQUE (squad_id, rev),
    CONSTRAINT memberships_user UNIQUE (squad_id, user_id),
    CONSTRAINT memberships_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id),
    CONSTRAINT memberships_role CHECK (role IN ('coach', 'athlete', 'analyst')),
    CONSTRAINT memberships_athlete_role CHECK ((role = 'athlete') = (athlete_id IS NOT NULL))
);
CREATE INDEX memberships_by_user ON memberships (user_id);

CREATE TABLE invitations (
    squad_id   uuid        NOT NULL REFERENCES squads (squad_id),
    id         uuid        NOT NULL,
    code_hash  bytea       NOT NULL,
    role       text        NOT NULL,
    athlete_id uuid,
    invited_by uuid        NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at    timestamptz,
    CONSTRAINT invitations_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT invitations_code UNIQUE (squad_id, code_hash),
    CONSTRAINT invitations_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id) ON DELETE CASCADE,
    CONSTRAINT invitations_role CHECK (role IN ('coach', 'athlete', 'analyst')),
    CONSTRAINT invitations_athlete_role CHECK ((role = 'athlete') = (athlete_id IS NOT NULL))
);
CREATE INDEX invitations_by_code ON invitations (code_hash);

CREATE TABLE patterns (
    squad_id  uuid             NOT NULL REFERENCES squads (squad_id),
    id        uuid             NOT NULL,
    rev       bigint           NOT NULL,
    hash      bytea            NOT NULL,
    name      text             NOT NULL,
    length_ft double precision NOT NULL,
    loads     jsonb            NOT NULL,
    film      jsonb,
    note      text             NOT NULL DEFAULT '',
    CONSTRAINT patterns_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT patterns_rev UNIQUE (squad_id, rev),
    CONSTRAINT patterns_name CHECK (length(name) BETWEEN 1 AND 200),
    CONSTRAINT patterns_length CHECK (length_ft > 0 AND length_ft <= 60)
);

CREATE TABLE balls (
    squad_id        uuid             NOT NULL REFERENCES squads (squad_id),
    id              uuid             NOT NULL,
    rev             bigint           NOT NULL,
    hash            bytea            NOT NULL,
    athlete_id      uuid             NOT NULL,
    name            text             NOT NULL,
    weight_lb       double precision NOT NULL,
    rg_in           double precision,
    differential_in double precision,
    cover           text,
    surface_grit    integer,
    retired         boolean          NOT NULL DEFAULT false,
    note            text             NOT NULL DEFAULT '',
    CONSTRAINT balls_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT balls_rev UNIQUE (squad_id, rev),
    CONSTRAINT balls_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id),
    CONSTRAINT balls_name CHECK (length(name) BETWEEN 1 AND 200),
    CONSTRAINT balls_weight CHECK (weight_lb > 0 AND weight_lb <= 16)
);
CREATE INDEX balls_by_athlete ON balls (squad_id, athlete_id);

CREATE TABLE sessions (
    squad_id   uuid   NOT NULL REFERENCES squads (squad_id),
    id         uuid   NOT NULL,
    rev        bigint NOT NULL,
    hash       bytea  NOT NULL,
    kind       text   NOT NULL,
    name       text   NOT NULL,
    held_on    date   NOT NULL,
    centre     text   NOT NULL DEFAULT '',
    lanes      integer[] NOT NULL DEFAULT '{}',
    pattern_id uuid,
    athlete_id uuid, -- whose practice it is; NULL when the squad shares it
    note       text   NOT NULL DEFAULT '',
    CONSTRAINT sessions_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT sessions_rev UNIQUE (squad_id, rev),
    CONSTRAINT sessions_kind CHECK (kind IN ('practice', 'block')),
    CONSTRAINT sessions_name CHECK (length(name) BETWEEN 1 AND 200),
    CONSTRAINT sessions_pattern FOREIGN KEY (squad_id, pattern_id) REFERENCES patterns (squad_id, id),
    CONSTRAINT sessions_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id)
);
CREATE INDEX sessions_by_athlete ON sessions (squad_id, athlete_id);
CREATE INDEX sessions_by_pattern ON sessions (squad_id, pattern_id);

CREATE TABLE drills (
    squad_id   uuid             NOT NULL REFERENCES squads (squad_id),
    id         uuid             NOT NULL,
    rev        bigint           NOT NULL,
    hash       bytea            NOT NULL,
    name       text             NOT NULL,
    rules      jsonb            NOT NULL,
    reps       integer          NOT NULL,
    pass_share double precision NOT NULL,
    pattern_id uuid,
    note       text             NOT NULL DEFAULT '',
    CONSTRAINT drills_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT drills_rev UNIQUE (squad_id, rev),
    CONSTRAINT drills_name CHECK (length(name) BETWEEN 1 AND 200),
    CONSTRAINT drills_reps CHECK (reps BETWEEN 1 AND 10000),
    CONSTRAINT drills_pass_share CHECK (pass_share > 0 AND pass_share <= 1),
    CONSTRAINT drills_pattern FOREIGN KEY (squad_id, pattern_id) REFERENCES patterns (squad_id, id)
);
CREATE INDEX drills_by_pattern ON drills (squad_id, pattern_id);

CREATE TABLE assignments (
    squad_id    uuid   NOT NULL REFERENCES squads (squad_id),
    id          uuid   NOT NULL,
    rev         bigint NOT NULL,
    hash        bytea  NOT NULL,
    drill_id    uuid   NOT NULL,
    athlete_id  uuid   NOT NULL,
    assigned_on date   NOT NULL,
    due_on      date,
    note        text   NOT NULL DEFAULT '',
    CONSTRAINT assignments_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT assignments_rev UNIQUE (squad_id, rev),
    CONSTRAINT assignments_drill FOREIGN KEY (squad_id, drill_id) REFERENCES drills (squad_id, id),
    CONSTRAINT assignments_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id),
    CONSTRAINT assignments_dates CHECK (due_on IS NULL OR due_on >= assigned_on)
);
CREATE INDEX assignments_by_drill ON assignments (squad_id, drill_id);
CREATE INDEX assignments_by_athlete ON assignments (squad_id, athlete_id);

CREATE TABLE shots (
    squad_id          uuid        NOT NULL,
    id                uuid        NOT NULL,
    rev               bigint      NOT NULL,
    hash              bytea       NOT NULL,
    session_id        uuid        NOT NULL,
    athlete_id        uuid        NOT NULL,
    ball_id           uuid,
    drill_id          uuid,
    shot_order        integer     NOT NULL,
    shot_time         timestamptz NOT NULL,
    laydown_board     double precision,
    arrows_board      double precision,
    breakpoint_board  double precision,
    breakpoint_ft     double precision,
    entry_board       double precision,
    entry_angle_deg   double precision,
    launch_angle_deg  double precision,
    speed_mph         double precision,
    rev_rate_rpm      double precision,
    rotation_deg      double precision,
    tilt_deg          double precision,
    track             jsonb,
    standing          smallint, -- bit n-1 is pin n; NULL not recorded, 0 a strike
    source            text        NOT NULL DEFAULT '',
    board_se          double precision,
    angle_se_deg      double precision,
    speed_se_mph      double precision,
    rev_rate_se_rpm   double precision,
    axis_se_deg       double precision,
    note              text        NOT NULL DEFAULT '',
    CONSTRAINT shots_pkey PRIMARY KEY (squad_id, id),
    CONSTRAINT shots_rev UNIQUE (squad_id, rev),
    CONSTRAINT shots_session FOREIGN KEY (squad_id, session_id) REFERENCES sessions (squad_id, id),
    CONSTRAINT shots_athlete FOREIGN KEY (squad_id, athlete_id) REFERENCES athletes (squad_id, id),
    CONSTRAINT shots_ball FOREIGN KEY (squad_id, ball_id) REFERENCES balls (squad_id, id),
    CONSTRAINT shots_drill FOREIGN KEY (squad_id, drill_id) REFERENCES drills (squad_id, id),
    CONSTRAINT shots_order CHECK (shot_order >= 1),
    CONSTRAINT shots_standing CHECK (standing BETWEEN 0 AND 1023)
);
CREATE INDEX shots_by_session ON shots (squad_id, session_id, athlete_id, shot_order);
CREATE INDEX shots_by_athlete ON shots (squad_id, athlete_id, shot_time);

CREATE TABLE tombstones (
    squad_id   uuid        NOT NULL REFERENCES squads (squad_id),
    kind       text        NOT NULL,
    id         uuid        NOT NULL,
    rev        bigint      NOT NULL,
    athlete_id uuid, -- whose record it was, so that it reaches the right devices
    deleted_by uuid        NOT NULL,
    deleted_at timestamptz NOT NULL,
    CONSTRAINT tombstones_pkey PRIMARY KEY (squad_id, kind, id),
    CONSTRAINT tombstones_rev UNIQUE (squad_id, rev)
);

-- Superseded versions: what an edit was based on, and what a deletion removed.
CREATE TABLE history (
    squad_id    uuid        NOT NULL REFERENCES squads (squad_id),
    kind        text        NOT NULL,
    id          uuid        NOT NULL,
    rev         bigint      NOT NULL,
    hash        bytea       NOT NULL,
    body        jsonb       NOT NULL,
    replaced_by uuid        NOT NULL,
    replaced_at timestamptz NOT NULL,
    CONSTRAINT history_pkey PRIMARY KEY (squad_id, kind, id, rev)
);

-- The squad is the tenant: outside the squad named by the transaction no row exists.
-- +goose StatementBegin
DO $$
DECLARE
    t text;
BEGIN
    FOREACH t IN ARRAY ARRAY['squads', 'squads_clock', 'athletes', 'memberships', 'invitations', 'patterns', 'balls', 'sessions',
                             'drills', 'assignments', 'shots', 'tombstones', 'history'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('CREATE POLICY %I ON %I USING (squad_id = (SELECT nullif(current_setting(''laneward.squad'', true), '''')::uuid)) '
            'WITH CHECK (squad_id = (SELECT nullif(current_setting(''laneward.squad'', true), '''')::uuid))', t || '_of_squad', t);
        EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %I TO laneward_service', t);
    END LOOP;
END
$$;
-- +goose StatementEnd

-- The two look-ups that come before a squad is known. They run as their owner and give away only what their caller can prove.
-- +goose StatementBegin
CREATE FUNCTION squads_of(member uuid) RETURNS TABLE (squad_id uuid, name text, role text, athlete_id uuid)
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT s.squad_id, s.name, m.role, m.athlete_id
    FROM memberships m JOIN squads s ON s.squad_id = m.squad_id
    WHERE m.user_id = member
    ORDER BY s.name, s.squad_id
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE FUNCTION squad_of_invitation(code bytea) RETURNS uuid
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT squad_id FROM invitations WHERE code_hash = code
$$;
-- +goose StatementEnd
-- The functions' owner is bound by the forced policies too, unless it is a superuser.
CREATE POLICY memberships_look_up ON memberships FOR SELECT TO CURRENT_USER USING (true);
CREATE POLICY squads_look_up ON squads FOR SELECT TO CURRENT_USER USING (true);
CREATE POLICY invitations_look_up ON invitations FOR SELECT TO CURRENT_USER USING (true);
REVOKE ALL ON FUNCTION squads_of(uuid), squad_of_invitation(bytea) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION squads_of(uuid), squad_of_invitation(bytea) TO laneward_service;
