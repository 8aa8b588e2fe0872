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

-- name: RefreshFamilyOf :one
SELECT f.id, f.user_id, f.device, f.created_at, f.expires_at, f.revoked_at
FROM refresh_families f JOIN refresh_tokens t ON t.family_id = f.id WHERE t.hash = @hash;

-- name: DeleteOldRefreshFamilies :execrows
DELETE FROM refresh_families WHERE expires_at < @before OR revoked_at < @before;

-- name: SignInFailures :one
SELECT subject, failures, last_failed_at FROM sign_in_failures WHERE subject = @subject;

-- name: CountSignInFailure :one
INSERT INTO sign_in_failures (subject, failures, last_failed_at) VALUES (@subject, 1, @failed_at)
ON CONFLICT (subject) DO UPDATE SET
    failures = CASE WHEN sign_in_failures.last_failed_at < @forget_before THEN 1 ELSE sign_in_failures.failures + 1 END,
    last_failed_at = excluded.last_failed_at
RETURNING failures;

-- name: ForgetSignInFailures :exec
DELETE FROM sign_in_failures WHERE subject = @subject;
