-- name: PutSquad :exec
INSERT INTO squads (squad_id, rev, hash, name, time_zone, invented, created_at)
VALUES (@squad_id, @rev, @hash, @name, @time_zone, @invented, @created_at)
ON CONFLICT (squad_id) DO UPDATE SET rev = excluded.rev, hash = excluded.hash, name = excluded.name, time_zone = excluded.time_zone;

-- name: Squad :one
SELECT * FROM squads WHERE squad_id = @squad_id;

-- name: StartClock :exec
INSERT INTO squads_clock (squad_id, rev, head, counted) VALUES (@squad_id, 0, @head, 0);

-- LockClock makes the transaction the squad's only writer until it ends.
-- name: LockClock :one
SELECT rev, floor, head, heads_floor, records, counted, quota FROM squads_clock WHERE squad_id = @squad_id FOR UPDATE;

-- AdvanceClock gives the next revisions and joins what was written to the head, which it keeps: 128 bits of SHA-256.
-- name: AdvanceClock :one
WITH moved AS (
    UPDATE squads_clock c
    SET rev = c.rev + @by_rows, records = @records::bigint, counted = c.rev + @by_rows,
        head = substr(sha256(c.head || int8send(c.rev + @by_rows) || sqlc.arg('digest')::bytea), 1, 16)
    WHERE c.squad_id = @squad_id RETURNING c.squad_id, c.rev, c.head
)
INSERT INTO heads (squad_id, rev, made_at, head)
SELECT m.squad_id, m.rev, @made_at, m.head FROM moved m RETURNING heads.rev, heads.head;

-- HeadAt is the head of the commit that a revision is of, as far back as heads are kept.
-- name: HeadAt :one
SELECT rev, head FROM heads WHERE squad_id = @squad_id AND rev >= @rev ORDER BY rev LIMIT 1;

-- name: Head :one
SELECT head FROM heads WHERE squad_id = @squad_id AND rev = @rev;

-- name: Clock :one
SELECT rev, floor, head, heads_floor, records, counted, quota FROM squads_clock WHERE squad_id = @squad_id;

-- CountRecords counts what the counter's records says: all kinds of the feed but the squad and its members.
-- name: CountRecords :one
SELECT ((SELECT count(*) FROM shots WHERE shots.squad_id = @squad_id) + (SELECT count(*) FROM sessions WHERE sessions.squad_id = @squad_id)
    + (SELECT count(*) FROM athletes WHERE athletes.squad_id = @squad_id) + (SELECT count(*) FROM balls WHERE balls.squad_id = @squad_id)
    + (SELECT count(*) FROM patterns WHERE patterns.squad_id = @squad_id) + (SELECT count(*) FROM drills WHERE drills.squad_id = @squad_id)
    + (SELECT count(*) FROM assignments WHERE assignments.squad_id = @squad_id))::bigint AS records;

-- SetQuota sets how many records a squad may have, NULL for what the server gives every squad, and how many it has.
-- name: SetQuota :exec
UPDATE squads_clock SET quota = sqlc.narg('quota'), records = @records::bigint, counted = rev WHERE squad_id = @squad_id;

-- name: SquadsOf :many
SELECT squad_id::uuid AS squad_id, name::text AS name, role::text AS role,
    coalesce(athlete_id, '00000000-0000-0000-0000-000000000000')::uuid AS athlete_id
FROM squads_of(@user_id::uuid) AS s (squad_id, name, role, athlete_id);

-- name: MembershipOfUser :one
SELECT squad_id, id, rev, hash, user_id, name, role, athlete_id FROM memberships WHERE squad_id = @squad_id AND user_id = @user_id;

-- name: CountCoaches :one
SELECT count(*) FROM memberships WHERE squad_id = @squad_id AND role = 'coach';

-- name: PutInvitation :exec
INSERT INTO invitations (squad_id, id, code_hash, role, athlete_id, invited_by, created_at, expires_at)
VALUES (@squad_id, @id, @code_hash, @role, sqlc.narg('athlete_id'), @invited_by, @created_at, @expires_at);

-- name: Invitations :many
SELECT squad_id, id, code_hash, role, athlete_id, invited_by, created_at, expires_at, used_at
FROM invitations WHERE squad_id = @squad_id AND id > @after ORDER BY id LIMIT @max_rows;

-- name: RemoveInvitation :execrows
DELETE FROM invitations WHERE squad_id = @squad_id AND id = @id AND used_at IS NULL;

-- name: SquadOfInvitation :one
SELECT coalesce(squad_of_invitation(@code_hash::bytea), '00000000-0000-0000-0000-000000000000')::uuid AS squad_id;

-- UseInvitation spends the code; no row means that it is unknown, used or too old.
-- name: UseInvitation :one
UPDATE invitations SET used_at = @used_at
WHERE squad_id = @squad_id AND code_hash = @code_hash AND used_at IS NULL AND expires_at > @used_at
RETURNING squad_id, id, code_hash, role, athlete_id, invited_by, created_at, expires_at, used_at;

-- name: TombstonesByIDs :many
SELECT t.squad_id, t.kind, t.id, t.rev, t.athlete_id, t.deleted_by, t.deleted_at
FROM unnest(@ids::uuid[]) AS wanted (id) CROSS JOIN LATERAL (
    SELECT one.squad_id, one.kind, one.id, one.rev, one.athlete_id, one.deleted_by, one.deleted_at FROM tombstones one
    WHERE one.squad_id = @squad_id AND one.kind = @kind AND one.id = wanted.id LIMIT 1
) t;

-- name: TombstonesAfter :many
SELECT squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at FROM tombstones
WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutTombstone :batchexec
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
VALUES (@squad_id, @kind, @id, @rev, sqlc.narg('athlete_id'), @deleted_by, @deleted_at);

-- name: RemoveTombstones :exec
DELETE FROM tombstones WHERE squad_id = @squad_id AND kind = @kind AND id = ANY(@ids::uuid[]);

-- name: PutHistory :batchexec
INSERT INTO history (squad_id, kind, id, rev, hash, body, replaced_by, replaced_at)
VALUES (@squad_id, @kind, @id, @rev, @hash, @body, @replaced_by, @replaced_at);

-- name: HistoryOf :many
SELECT squad_id, kind, id, rev, hash, body, replaced_by, replaced_at FROM history
WHERE squad_id = @squad_id AND kind = @kind AND id = @id ORDER BY rev;

-- ReplacedOf is what records said before their last change, of those that were changed.
-- name: ReplacedOf :many
SELECT h.id, h.body FROM unnest(@ids::uuid[]) AS wanted (id) CROSS JOIN LATERAL (
    SELECT one.id, one.body FROM history one
    WHERE one.squad_id = @squad_id AND one.kind = @kind AND one.id = wanted.id ORDER BY one.rev DESC LIMIT 1
) h;

-- name: HeadsOf :many
SELECT squad_id::uuid AS squad_id, rev::bigint AS rev, head::bytea AS head FROM heads_of(@squad_ids::uuid[]) AS c (squad_id, rev, head);

-- ForgetTombstones forgets deletions from before a moment, in all squads.
-- name: ForgetTombstones :one
SELECT forget_tombstones(@before::timestamptz)::bigint AS forgotten;

-- name: ForgetHeads :one
SELECT forget_heads(@before::timestamptz)::bigint AS forgotten;

-- HistoryIDs tells which ids were records once.
-- name: HistoryIDs :many
SELECT h.id FROM unnest(@ids::uuid[]) AS wanted (id) CROSS JOIN LATERAL (
    SELECT one.id FROM history one WHERE one.squad_id = @squad_id AND one.kind = @kind AND one.id = wanted.id LIMIT 1
) h;

-- HistoryOfAthlete reads the replaced versions of an athlete's records, a page after a revision.
-- name: HistoryOfAthlete :many
SELECT h.squad_id, h.kind, h.id, h.rev, h.hash, h.body, h.replaced_by, h.replaced_at FROM history h
WHERE h.squad_id = @squad_id AND (h.body ->> 'athlete_id' = sqlc.arg('athlete')::uuid::text OR h.kind = 'athlete' AND h.id = sqlc.arg('athlete')::uuid)
AND h.rev > @after_rev ORDER BY h.rev LIMIT @max_rows;

-- EraseHistory removes what the history says of an athlete, and refuses for good the ids of what was theirs and had been deleted long ago.
-- name: EraseHistory :exec
WITH gone AS (
    DELETE FROM history h
    WHERE h.squad_id = @squad_id AND (h.body ->> 'athlete_id' = sqlc.arg('athlete')::uuid::text OR h.kind = 'athlete' AND h.id = sqlc.arg('athlete')::uuid)
    RETURNING h.squad_id, h.kind, h.id
)
INSERT INTO erased_ids (squad_id, id)
SELECT DISTINCT g.squad_id, g.id FROM gone g
WHERE g.kind IN ('ball', 'session', 'assignment') AND NOT EXISTS (SELECT 1 FROM sessions n WHERE n.squad_id = g.squad_id AND n.id = g.id)
ON CONFLICT DO NOTHING;

-- RefuseErased keeps the ids of an athlete and of what is theirs, shots aside, to refuse them for good.
-- name: RefuseErased :exec
INSERT INTO erased_ids (squad_id, id)
SELECT a.squad_id, a.id FROM athletes a WHERE a.squad_id = @squad_id AND a.id = sqlc.arg('athlete')::uuid
UNION ALL SELECT n.squad_id, n.id FROM sessions n WHERE n.squad_id = @squad_id AND n.athlete_id = sqlc.arg('athlete')::uuid
UNION ALL SELECT b.squad_id, b.id FROM balls b WHERE b.squad_id = @squad_id AND b.athlete_id = sqlc.arg('athlete')::uuid
UNION ALL SELECT s.squad_id, s.id FROM assignments s WHERE s.squad_id = @squad_id AND s.athlete_id = sqlc.arg('athlete')::uuid
UNION ALL SELECT t.squad_id, t.id FROM tombstones t WHERE t.squad_id = @squad_id AND t.athlete_id = sqlc.arg('athlete')::uuid AND t.kind <> 'shot'
ON CONFLICT DO NOTHING;

-- ErasedIDs are those of some ids that are refused for good.
-- name: ErasedIDs :many
SELECT e.id FROM unnest(@ids::uuid[]) AS wanted (id) CROSS JOIN LATERAL (
    SELECT one.id FROM erased_ids one WHERE one.squad_id = @squad_id AND one.id = wanted.id LIMIT 1
) e;

-- NoteSync records that a device has everything up to a revision, unless that was recorded a moment ago.
-- name: NoteSync :exec
INSERT INTO device_syncs (squad_id, sign_in, user_id, device, rev, synced_at)
SELECT @squad_id, f.id, f.user_id, f.device, @rev::bigint, @synced_at::timestamptz FROM refresh_families f WHERE f.id = @sign_in
ON CONFLICT (squad_id, sign_in) DO UPDATE SET (device, rev, synced_at) = (excluded.device, excluded.rev, excluded.synced_at)
    WHERE device_syncs.synced_at < @before::timestamptz;

-- DeviceSyncs are the devices of the squad's members that are signed in, by the member's name, the latest sync first.
-- name: DeviceSyncs :many
SELECT d.user_id, m.name, m.athlete_id, d.device, d.rev, d.synced_at
FROM device_syncs d JOIN memberships m ON m.squad_id = d.squad_id AND m.user_id = d.user_id JOIN refresh_families f ON f.id = d.sign_in
WHERE d.squad_id = @squad_id AND f.revoked_at IS NULL AND (sqlc.narg('athlete')::uuid IS NULL OR m.athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY m.name, d.user_id, d.synced_at DESC;
