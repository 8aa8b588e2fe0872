-- +goose Up
SET LOCAL lock_timeout = '3s';

-- Where in a block a shot was thrown, what was meant, where the arrows are, and which gutter took the ball. NULL: not recorded; arrows_ft: 15.
ALTER TABLE shots
    ADD COLUMN lane                 smallint,
    ADD COLUMN game                 smallint,
    ADD COLUMN frame                smallint,
    ADD COLUMN delivery             smallint,
    ADD COLUMN aim_laydown_board    double precision,
    ADD COLUMN aim_launch_angle_deg double precision,
    ADD COLUMN arrows_ft            double precision,
    ADD COLUMN gutter               text NOT NULL DEFAULT '';
ALTER TABLE shots ADD CONSTRAINT shots_gutter CHECK (gutter IN ('', 'right', 'left')) NOT VALID;

-- The squad's time zone by its name; '' is UTC.
ALTER TABLE squads ADD COLUMN time_zone text NOT NULL DEFAULT '';

-- What the drill was computed by; '' for one that a person thought of.
ALTER TABLE drills ADD COLUMN model text NOT NULL DEFAULT '';
