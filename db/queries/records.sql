-- One set of queries a kind, alike on purpose: ByIDs, After (in revision order), Put, Remove. After is bounded on both sides: revisions are dense,
-- so a window of them holds no more rows than it is wide, and any plan for it is a good one. With an athlete given, the first two see only
-- what that athlete may see; this file is where that is said. A star is written out by the generator, so a new column of a shot needs no edit here.

-- name: MembershipsByIDs :many
SELECT squad_id, id, rev, hash, user_id, name, role, athlete_id
FROM memberships WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid);

-- name: MembershipsAfter :many
SELECT squad_id, id, rev, hash, user_id, name, role, athlete_id
FROM memberships WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutMembership :batchexec
INSERT INTO memberships (squad_id, id, rev, hash, user_id, name, role, athlete_id)
VALUES (@squad_id, @id, @rev, @hash, @user_id, @name, @role, sqlc.narg('athlete_id'))
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, user_id, name, role, athlete_id) = (excluded.rev, excluded.hash, excluded.user_id, excluded.name, excluded.role, excluded.athlete_id);

-- name: RemoveMemberships :exec
DELETE FROM memberships WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: AthletesByIDs :many
SELECT squad_id, id, rev, hash, name, side, speed_mph, rev_rate_rpm, rotation_deg, tilt_deg, slide_offset, born_on, guardian_name, guardian_consent, note
FROM athletes WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR id = sqlc.narg('athlete')::uuid);

-- name: AthletesAfter :many
SELECT squad_id, id, rev, hash, name, side, speed_mph, rev_rate_rpm, rotation_deg, tilt_deg, slide_offset, born_on, guardian_name, guardian_consent, note
FROM athletes WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutAthlete :batchexec
INSERT INTO athletes (squad_id, id, rev, hash, name, side, speed_mph, rev_rate_rpm, rotation_deg, tilt_deg, slide_offset, born_on, guardian_name, guardian_consent, note)
VALUES (@squad_id, @id, @rev, @hash, @name, @side, sqlc.narg('speed_mph'), sqlc.narg('rev_rate_rpm'), sqlc.narg('rotation_deg'), sqlc.narg('tilt_deg'), sqlc.narg('slide_offset'), sqlc.narg('born_on'), sqlc.narg('guardian_name'), sqlc.narg('guardian_consent'), @note)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, name, side, speed_mph, rev_rate_rpm, rotation_deg, tilt_deg, slide_offset, born_on, guardian_name, guardian_consent, note) = (excluded.rev, excluded.hash, excluded.name, excluded.side, excluded.speed_mph, excluded.rev_rate_rpm, excluded.rotation_deg, excluded.tilt_deg, excluded.slide_offset, excluded.born_on, excluded.guardian_name, excluded.guardian_consent, excluded.note);

-- name: RemoveAthletes :exec
DELETE FROM athletes WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: PatternsByIDs :many
SELECT squad_id, id, rev, hash, name, length_ft, loads, film, note
FROM patterns WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: PatternsAfter :many
SELECT squad_id, id, rev, hash, name, length_ft, loads, film, note
FROM patterns WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto 
ORDER BY rev LIMIT @max_rows;

-- name: PutPattern :batchexec
INSERT INTO patterns (squad_id, id, rev, hash, name, length_ft, loads, film, note)
VALUES (@squad_id, @id, @rev, @hash, @name, @length_ft, @loads, sqlc.narg('film'), @note)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, name, length_ft, loads, film, note) = (excluded.rev, excluded.hash, excluded.name, excluded.length_ft, excluded.loads, excluded.film, excluded.note);

-- name: RemovePatterns :exec
DELETE FROM patterns WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: BallsByIDs :many
SELECT squad_id, id, rev, hash, athlete_id, name, weight_lb, rg_in, differential_in, cover, surface_grit, retired, note
FROM balls WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid);

-- name: BallsAfter :many
SELECT squad_id, id, rev, hash, athlete_id, name, weight_lb, rg_in, differential_in, cover, surface_grit, retired, note
FROM balls WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutBall :batchexec
INSERT INTO balls (squad_id, id, rev, hash, athlete_id, name, weight_lb, rg_in, differential_in, cover, surface_grit, retired, note)
VALUES (@squad_id, @id, @rev, @hash, @athlete_id, @name, @weight_lb, sqlc.narg('rg_in'), sqlc.narg('differential_in'), sqlc.narg('cover'), sqlc.narg('surface_grit'), @retired, @note)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, athlete_id, name, weight_lb, rg_in, differential_in, cover, surface_grit, retired, note) = (excluded.rev, excluded.hash, excluded.athlete_id, excluded.name, excluded.weight_lb, excluded.rg_in, excluded.differential_in, excluded.cover, excluded.surface_grit, excluded.retired, excluded.note);

-- name: RemoveBalls :exec
DELETE FROM balls WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: SessionsByIDs :many
SELECT squad_id, id, rev, hash, kind, name, held_on, centre, lanes, pattern_id, athlete_id, note
FROM sessions WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id IS NULL OR athlete_id = sqlc.narg('athlete')::uuid);

-- name: SessionsAfter :many
SELECT squad_id, id, rev, hash, kind, name, held_on, centre, lanes, pattern_id, athlete_id, note
FROM sessions WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutSession :batchexec
INSERT INTO sessions (squad_id, id, rev, hash, kind, name, held_on, centre, lanes, pattern_id, athlete_id, note)
VALUES (@squad_id, @id, @rev, @hash, @kind, @name, @held_on, @centre, @lanes, sqlc.narg('pattern_id'), sqlc.narg('athlete_id'), @note)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, kind, name, held_on, centre, lanes, pattern_id, athlete_id, note) = (excluded.rev, excluded.hash, excluded.kind, excluded.name, excluded.held_on, excluded.centre, excluded.lanes, excluded.pattern_id, excluded.athlete_id, excluded.note);

-- name: RemoveSessions :exec
DELETE FROM sessions WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: DrillsByIDs :many
SELECT d.*
FROM drills AS d WHERE d.squad_id = @squad_id AND d.id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR EXISTS (
    SELECT 1 FROM assignments a WHERE a.squad_id = d.squad_id AND a.drill_id = d.id AND a.athlete_id = sqlc.narg('athlete')::uuid));

-- name: DrillsAfter :many
SELECT d.*
FROM drills AS d WHERE d.squad_id = @squad_id AND d.rev > @after AND d.rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR EXISTS (
    SELECT 1 FROM assignments a WHERE a.squad_id = d.squad_id AND a.drill_id = d.id AND a.athlete_id = sqlc.narg('athlete')::uuid))
ORDER BY d.rev LIMIT @max_rows;

-- name: PutDrill :batchexec
INSERT INTO drills (squad_id, id, rev, hash, name, rules, reps, pass_share, pattern_id, note, model)
VALUES (@squad_id, @id, @rev, @hash, @name, @rules, @reps, @pass_share, sqlc.narg('pattern_id'), @note, @model)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, name, rules, reps, pass_share, pattern_id, note, model) = (excluded.rev, excluded.hash, excluded.name, excluded.rules, excluded.reps, excluded.pass_share, excluded.pattern_id, excluded.note, excluded.model);

-- name: RemoveDrills :exec
DELETE FROM drills WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: AssignmentsByIDs :many
SELECT squad_id, id, rev, hash, drill_id, athlete_id, assigned_on, due_on, note
FROM assignments WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]) AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid);

-- name: AssignmentsAfter :many
SELECT squad_id, id, rev, hash, drill_id, athlete_id, assigned_on, due_on, note
FROM assignments WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- name: PutAssignment :batchexec
INSERT INTO assignments (squad_id, id, rev, hash, drill_id, athlete_id, assigned_on, due_on, note)
VALUES (@squad_id, @id, @rev, @hash, @drill_id, @athlete_id, @assigned_on, sqlc.narg('due_on'), @note)
ON CONFLICT (squad_id, id) DO UPDATE SET (rev, hash, drill_id, athlete_id, assigned_on, due_on, note) = (excluded.rev, excluded.hash, excluded.drill_id, excluded.athlete_id, excluded.assigned_on, excluded.due_on, excluded.note);

-- name: RemoveAssignments :exec
DELETE FROM assignments WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- Shots are put in sets, with nullable columns: see shots.go.

-- ShotsByIDs looks each id up by itself. Left to choose, a plan that was made while the table was empty reads all of the squad's shots.
-- name: ShotsByIDs :many
SELECT s.*
FROM unnest(@ids::uuid[]) AS wanted (id) CROSS JOIN LATERAL (
    SELECT one.* FROM shots one
    WHERE one.squad_id = @squad_id AND one.id = wanted.id AND (sqlc.narg('athlete')::uuid IS NULL OR one.athlete_id = sqlc.narg('athlete')::uuid)
    LIMIT 1
) s;

-- name: ShotsAfter :many
SELECT *
FROM shots WHERE squad_id = @squad_id AND rev > @after AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev LIMIT @max_rows;

-- ShotsInSpan reads the shots of the sessions held within some days session by session, so that it costs what it finds, not what the squad has.
-- name: ShotsInSpan :many
SELECT s.*
FROM (
    SELECT n.id FROM sessions n
    WHERE n.squad_id = @squad_id AND n.id >= @after_session::uuid AND n.held_on >= @since::date AND n.held_on < @before::date
      AND (sqlc.narg('athlete')::uuid IS NULL OR n.athlete_id IS NULL OR n.athlete_id = sqlc.narg('athlete')::uuid)
    ORDER BY n.id
) held CROSS JOIN LATERAL (
    SELECT one.* FROM shots one
    WHERE one.squad_id = @squad_id AND one.session_id = held.id AND one.rev <= @upto AND (held.id > @after_session::uuid OR one.rev > @after_rev)
      AND (sqlc.narg('athlete')::uuid IS NULL OR one.athlete_id = sqlc.narg('athlete')::uuid)
) s
ORDER BY held.id, s.rev LIMIT @max_rows;

-- name: ShotsOfSessionUpto :many
SELECT *
FROM shots
WHERE squad_id = @squad_id AND session_id = @session_id AND rev <= @upto AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY rev;

-- name: RemoveShots :exec
DELETE FROM shots WHERE squad_id = @squad_id AND id = ANY(@ids::uuid[]);

-- name: ShotsOfSession :many
SELECT *
FROM shots
WHERE squad_id = @squad_id AND session_id = @session_id AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
  AND (athlete_id, shot_order, id) > (@after_athlete::uuid, @after_order::integer, @after_id::uuid)
ORDER BY athlete_id, shot_order, id LIMIT @max_rows;

-- ShotsForDrill are an athlete's shots that count for a drill: thrown for it, or for no drill in particular, in a session held within the dates.
-- name: ShotsForDrill :many
SELECT s.*
FROM shots s JOIN sessions n ON n.squad_id = s.squad_id AND n.id = s.session_id
WHERE s.squad_id = @squad_id AND s.athlete_id = @athlete_id AND (s.drill_id = @drill_id::uuid OR s.drill_id IS NULL AND NOT @only_named::boolean)
  AND (sqlc.narg('session_id')::uuid IS NULL OR s.session_id = sqlc.narg('session_id')::uuid)
  AND (sqlc.narg('from_day')::date IS NULL OR n.held_on >= sqlc.narg('from_day')::date)
  AND (sqlc.narg('to_day')::date IS NULL OR n.held_on <= sqlc.narg('to_day')::date)
ORDER BY n.held_on, s.session_id, s.shot_order, s.id
LIMIT @max_rows;

-- CountLeaves counts what first balls left, by the athlete's side.
-- name: CountLeaves :many
SELECT a.side, s.standing, count(*) AS shots
FROM shots s JOIN athletes a ON a.squad_id = s.squad_id AND a.id = s.athlete_id
WHERE s.squad_id = @squad_id AND s.standing IS NOT NULL AND (s.delivery IS NULL OR s.delivery = 1)
  AND (sqlc.narg('athlete')::uuid IS NULL OR s.athlete_id = sqlc.narg('athlete')::uuid)
  AND (sqlc.narg('session')::uuid IS NULL OR s.session_id = sqlc.narg('session')::uuid)
  AND (sqlc.narg('lane')::smallint IS NULL OR s.lane = sqlc.narg('lane')::smallint)
GROUP BY a.side, s.standing;

-- name: AssignmentsOfDrill :many
SELECT squad_id, id, rev, hash, drill_id, athlete_id, assigned_on, due_on, note FROM assignments
WHERE squad_id = @squad_id AND drill_id = @drill_id AND (sqlc.narg('athlete')::uuid IS NULL OR athlete_id = sqlc.narg('athlete')::uuid)
ORDER BY athlete_id, assigned_on, id;

-- SessionsWithGuests are an athlete's sessions in which others have shots too.
-- name: SessionsWithGuests :many
SELECT n.squad_id, n.id, n.rev, n.hash, n.kind, n.name, n.held_on, n.centre, n.lanes, n.pattern_id, n.athlete_id, n.note
FROM sessions n WHERE n.squad_id = @squad_id AND n.athlete_id = sqlc.arg('athlete')::uuid AND EXISTS (
    SELECT 1 FROM shots s WHERE s.squad_id = n.squad_id AND s.session_id = n.id AND s.athlete_id <> sqlc.arg('athlete')::uuid);

-- ShotsWithBallsOf are shots of others that were thrown with an athlete's balls.
-- name: ShotsWithBallsOf :many
SELECT s.*
FROM shots s JOIN balls b ON b.squad_id = s.squad_id AND b.id = s.ball_id
WHERE s.squad_id = @squad_id AND b.athlete_id = sqlc.arg('athlete')::uuid AND s.athlete_id <> sqlc.arg('athlete')::uuid
LIMIT @max_rows;

-- DrillsGiven are the pairs of a drill and an athlete that some drills are assigned to.
-- name: DrillsGiven :many
SELECT DISTINCT drill_id, athlete_id FROM assignments WHERE squad_id = @squad_id AND drill_id = ANY(@drill_ids::uuid[]) AND athlete_id = ANY(@athlete_ids::uuid[]);

-- Erasing an athlete removes each kind as one set; the tombstones say no more than which ids are gone.

-- name: EraseShots :execrows
WITH gone AS (
    DELETE FROM shots WHERE squad_id = @squad_id AND athlete_id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'shot', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), sqlc.arg('athlete')::uuid, @deleted_by, @deleted_at FROM gone;

-- name: EraseAssignments :execrows
WITH gone AS (
    DELETE FROM assignments WHERE squad_id = @squad_id AND athlete_id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'assignment', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), sqlc.arg('athlete')::uuid, @deleted_by, @deleted_at FROM gone;

-- name: EraseSessions :execrows
WITH gone AS (
    DELETE FROM sessions WHERE squad_id = @squad_id AND athlete_id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'session', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), sqlc.arg('athlete')::uuid, @deleted_by, @deleted_at FROM gone;

-- name: EraseBalls :execrows
WITH gone AS (
    DELETE FROM balls WHERE squad_id = @squad_id AND athlete_id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'ball', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), sqlc.arg('athlete')::uuid, @deleted_by, @deleted_at FROM gone;

-- The deletion of a member is everybody's: the devices of the athlete it was before hold it too.
-- name: EraseMemberships :execrows
WITH gone AS (
    DELETE FROM memberships WHERE squad_id = @squad_id AND athlete_id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'member', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), NULL, @deleted_by, @deleted_at FROM gone;

-- name: EraseAthletes :execrows
WITH gone AS (
    DELETE FROM athletes WHERE squad_id = @squad_id AND id = sqlc.arg('athlete')::uuid RETURNING id
)
INSERT INTO tombstones (squad_id, kind, id, rev, athlete_id, deleted_by, deleted_at)
SELECT @squad_id, 'athlete', id, sqlc.arg('after_rev')::bigint + row_number() OVER (ORDER BY id), sqlc.arg('athlete')::uuid, @deleted_by, @deleted_at FROM gone;

-- name: SessionIDsOfShots :many
SELECT DISTINCT session_id FROM shots WHERE squad_id = @squad_id AND athlete_id = @athlete_id;

-- RecentShotsOfAthlete are what an athlete's latest shots say of how they play and scatter: whole sessions from the latest back, as far as the rows go. pattern_ft is the length of the session's pattern.
-- name: RecentShotsOfAthlete :many
SELECT s.id, s.session_id, s.ball_id, s.shot_order, s.arrows_board, s.launch_angle_deg, s.speed_mph, s.rev_rate_rpm, s.board_se, s.angle_se_deg, s.speed_se_mph, s.rev_rate_se_rpm, p.length_ft AS pattern_ft
FROM shots s JOIN sessions n ON n.squad_id = s.squad_id AND n.id = s.session_id
LEFT JOIN patterns p ON p.squad_id = n.squad_id AND p.id = n.pattern_id
WHERE s.squad_id = @squad_id AND s.athlete_id = @athlete_id
ORDER BY n.held_on DESC, s.session_id, s.shot_order DESC, s.id
LIMIT @max_rows;
