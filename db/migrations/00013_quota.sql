-- +goose Up
SET LOCAL lock_timeout = '3s';

-- How many records a squad has, itself and its members aside, moved by the statement that moves its revision, and the revision at which that is
-- right. A squad of before this migration, or one that an older program has written to, is counted anew when it is next written to. And how
-- many it may have, 0 for any number; NULL where it is what the server gives every squad.
ALTER TABLE squads_clock
    ADD COLUMN records bigint NOT NULL DEFAULT 0,
    ADD COLUMN counted bigint NOT NULL DEFAULT -1,
    ADD COLUMN quota   bigint;
