CREATE TABLE owner (
    server TEXT NOT NULL,
    user   TEXT NOT NULL
) STRICT;

CREATE TABLE squads (
    id        TEXT PRIMARY KEY,
    name      TEXT NOT NULL,
    role      TEXT NOT NULL,
    athlete   TEXT,
    member    INTEGER NOT NULL,
    cursor    TEXT NOT NULL DEFAULT '',  -- where the feed goes on; '' before the first whole copy
    page      TEXT NOT NULL DEFAULT '',  -- where a snapshot that is being read goes on
    copy      INTEGER NOT NULL DEFAULT 0, -- counts the snapshots begun
    rev       INTEGER NOT NULL DEFAULT 0,
    synced_ms INTEGER NOT NULL DEFAULT 0
) STRICT;

-- What the server has. copy is the snapshot the row was seen in or after: when one is whole, what is of an older one is gone.
CREATE TABLE records (
    squad   TEXT NOT NULL,
    kind    TEXT NOT NULL,
    id      TEXT NOT NULL,
    rev     INTEGER NOT NULL,
    copy    INTEGER NOT NULL,
    body    TEXT NOT NULL,
    athlete TEXT GENERATED ALWAYS AS (body ->> '$.athlete_id') VIRTUAL,
    PRIMARY KEY (squad, kind, id)
) STRICT;

CREATE INDEX records_athlete ON records (squad, kind, athlete);

-- What the person changed and the server has not taken. A second change to a record whose first is on its way follows it, and waits for it
-- to be answered: the first is sent again as it was, so that the server knows it again.
CREATE TABLE changes (
    seq        INTEGER PRIMARY KEY AUTOINCREMENT,
    squad      TEXT NOT NULL,
    kind       TEXT NOT NULL,
    id         TEXT NOT NULL,
    follows    INTEGER NOT NULL DEFAULT 0,
    base       INTEGER NOT NULL,            -- the revision it is based on; 0 for a new record; open while it follows
    body       TEXT,                        -- the record without its revision; NULL deletes it
    state      TEXT NOT NULL DEFAULT 'queued' CHECK (state IN ('queued', 'waiting', 'refused', 'conflict')),
    sent       INTEGER NOT NULL DEFAULT 0,  -- it may have reached the server
    reasons    TEXT NOT NULL DEFAULT '[]',  -- why it waits, was refused or conflicts
    theirs_rev INTEGER NOT NULL DEFAULT 0,  -- in a conflict, the revision of the deletion where the server has no record any more
    made_ms    INTEGER NOT NULL,
    athlete    TEXT GENERATED ALWAYS AS (body ->> '$.athlete_id') VIRTUAL,
    UNIQUE (squad, kind, id, follows)
) STRICT;

-- The last change of each record.
CREATE VIEW latest AS
SELECT * FROM changes c
WHERE c.follows = 1 OR NOT EXISTS (SELECT 1 FROM changes n WHERE n.squad = c.squad AND n.kind = c.kind AND n.id = c.id AND n.follows = 1);

-- What the person sees. A deletion that was refused deletes nothing.
CREATE VIEW seen AS
SELECT r.squad, r.kind, r.id, r.rev, r.body, r.athlete, '' AS state
FROM records r
WHERE NOT EXISTS (SELECT 1 FROM changes c WHERE c.squad = r.squad AND c.kind = r.kind AND c.id = r.id AND NOT (c.body IS NULL AND c.state = 'refused'))
UNION ALL
SELECT l.squad, l.kind, l.id, l.base, l.body, l.athlete, l.state
FROM latest l
WHERE l.body IS NOT NULL;
