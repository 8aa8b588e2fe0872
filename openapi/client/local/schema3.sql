-- The newest head the server gave, by feed or push, and its revision: it shows which history the copy is of. why is why the copy that is
-- being read was begun, '' for none.
ALTER TABLE squads ADD COLUMN seen TEXT NOT NULL DEFAULT '';
ALTER TABLE squads ADD COLUMN seen_rev INTEGER NOT NULL DEFAULT 0;
ALTER TABLE squads ADD COLUMN why TEXT NOT NULL DEFAULT '';
ALTER TABLE squads ADD COLUMN compared_ms INTEGER NOT NULL DEFAULT 0;
-- After a restore, the newest revision that the copy is known to have in common with the server.
ALTER TABLE squads ADD COLUMN common INTEGER NOT NULL DEFAULT 0;

-- The heads that the server gave of late: after a restore they show how far the copy and the server have the same history.
CREATE TABLE heads (
    squad TEXT NOT NULL,
    rev   INTEGER NOT NULL,
    head  TEXT NOT NULL,
    PRIMARY KEY (squad, rev)
) STRICT;

-- What proves the revision that a change is based on: a head at or after it; '' of a change that an older program made. moved: a new copy
-- has another version than the one it is based on.
ALTER TABLE changes ADD COLUMN head TEXT NOT NULL DEFAULT '';
ALTER TABLE changes ADD COLUMN moved INTEGER NOT NULL DEFAULT 0;

-- What the device held and the server no longer has, since its data was restored: the person may send it again.
CREATE TABLE lost (
    squad   TEXT NOT NULL,
    kind    TEXT NOT NULL,
    id      TEXT NOT NULL,
    body    TEXT NOT NULL,
    athlete TEXT GENERATED ALWAYS AS (body ->> '$.athlete_id') VIRTUAL,
    PRIMARY KEY (squad, kind, id)
) STRICT;
