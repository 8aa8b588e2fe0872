-- name: AddUser :exec
INSERT INTO users (id, email, name, password_hash, created_at) VALUES (@id, @email, @name, @password_hash, @created_at);

-- name: UserByEmail :one
SELECT id, email, name, password_hash, created_at FROM users WHERE email = @email;

-- name: UserByID :one
SELECT id, email, name, password_hash, created_at FROM users WHERE id = @id;

-- name: SetPasswordHash :exec
UPDATE users SET password_hash = @password_hash WHERE id = @id;

-- name: AddRefreshFamily :exec
INSERT INTO refresh_families (id, user_id, device, created_at, expires_at) VALUES (@id, @user_id, @device, @created_at, @expires_at);

-- name: AddRefreshToken :exec
INSERT INTO refresh_tokens (hash, family_id, next_seed, issued_at) VALUES (@hash, @family_id, @next_seed, @issued_at);

-- LockRefreshToken holds the family, so that two answers to one token cannot differ.
-- name: LockRefreshToken :one
SELECT t.hash, t.family_id, t.next_seed, t.issued_at, t.spent_at, f.user_id, f.device, f.expires_at, f.revoked_at
FROM refresh_tokens t JOIN refresh_families f ON f.id = t.family_id
WHERE t.hash = @hash
FOR UPDATE OF f;

-- name: RefreshToken :one
SELECT hash, family_id, next_seed, issued_at, spent_at FROM refresh_tokens WHERE hash = @hash;

-- name: SpendRefreshToken :exec
UPDATE refresh_tokens SET spent_at = @spent_at WHERE hash = @hash;

-- name: RevokeRefreshFamily :exec
UPDATE refresh_families SET revoked_at = @revoked_at WHERE id = @id AND revoked_at IS NULL;

-- SignInEnd reports when a sign-in was ended; no row means that it is gone altogether.
-- name: SignInEnd :one
SELECT revoked_at, expires_at FROM refresh_families WHERE id = @id AND user_id = @user_id;

-- name: UseRefreshFamily :exec
UPDATE refresh_families SET last_used_at = @used_at WHERE id = @id;

-- SignInsOf are those that have neither ended nor run out, the newest first.
-- name: SignInsOf :many
SELECT id, device, created_at, expires_at, last_used_at FROM refresh_families
WHERE user_id = @user_id AND revoked_at IS NULL AND expires_at > @now ORDER BY created_at DESC, id;

-- EndSignIns ends a user's sign-ins: one, or all but one, or all.
-- name: EndSignIns :many
UPDATE refresh_families SET revoked_at = @ended_at
WHERE user_id = @user_id AND revoked_at IS NULL
    AND (sqlc.narg('only')::uuid IS NULL OR id = sqlc.narg('only')) AND (sqlc.narg('but')::uuid IS NULL OR id <> sqlc.narg('but'))
RETURNING id;

-- name: RefreshFamilyOf :one
SELECT f.id, f.user_id, f.device, f.created_at, f.expires_at, f.revoked_at
FROM refresh_families f JOIN refresh_tokens t ON t.family_id = f.id WHERE t.hash = @hash;

-- name: DeleteOldRefreshFamilies :execrows
DELETE FROM refresh_families WHERE expires_at < @before OR revoked_at < @before;

-- CountGuess counts a guess before it is looked at, unless the subject has to wait: then there is no row. It answers with how many there
-- are now. The wait after the free ones doubles, from a second to max_wait_seconds; an hour or so without one forgets them.
-- name: CountGuess :one
INSERT INTO sign_in_failures AS f (subject, failures, last_failed_at) VALUES (@subject, 1, @guessed_at)
ON CONFLICT (subject) DO UPDATE SET
    failures = CASE WHEN f.last_failed_at < @forget_before THEN 1 ELSE f.failures + 1 END,
    last_failed_at = excluded.last_failed_at
WHERE f.last_failed_at < @forget_before OR f.failures < @free::integer
    OR f.last_failed_at + make_interval(secs => least(@max_wait_seconds::integer, 2 ^ least(f.failures - @free::integer, 20))) <= excluded.last_failed_at
RETURNING failures;

-- name: SignInFailures :one
SELECT subject, failures, last_failed_at FROM sign_in_failures WHERE subject = @subject;

-- GiveBackGuess takes one guess off: it was right.
-- name: GiveBackGuess :exec
UPDATE sign_in_failures SET failures = failures - 1 WHERE subject = @subject AND failures > 0;

-- name: ForgetSignInFailures :exec
DELETE FROM sign_in_failures WHERE subject = @subject;

-- name: DeleteOldGuesses :exec
DELETE FROM sign_in_failures WHERE last_failed_at < @before;
