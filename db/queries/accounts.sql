-- name: LockUser :one
SELECT id, email, name, password_hash, created_at FROM users WHERE id = @id FOR UPDATE;

-- name: DeleteUser :execrows
DELETE FROM users WHERE id = @id;

-- name: AddResetCode :exec
INSERT INTO reset_codes (hash, user_id, for_squad, made_by, created_at, expires_at)
VALUES (@hash, @user_id, sqlc.narg('for_squad'), @made_by, @created_at, @expires_at);

-- UseResetCode spends a code; no row means that it is unknown, used, too old or somebody else's.
-- name: UseResetCode :one
UPDATE reset_codes SET used_at = @now
WHERE hash = @hash AND user_id = @user_id AND used_at IS NULL AND expires_at > @now
RETURNING for_squad, made_by;

-- name: DeleteResetCodes :exec
DELETE FROM reset_codes WHERE user_id = @user_id AND used_at IS NULL;

-- name: AddRecoveryCode :exec
INSERT INTO recovery_codes (hash, user_id, created_at) VALUES (@hash, @user_id, @created_at);

-- name: UseRecoveryCode :execrows
UPDATE recovery_codes SET used_at = @now WHERE hash = @hash AND user_id = @user_id AND used_at IS NULL;

-- name: DeleteRecoveryCodes :exec
DELETE FROM recovery_codes WHERE user_id = @user_id;

-- name: RecoveryCodesLeft :one
SELECT count(*) FILTER (WHERE used_at IS NULL) AS unused, coalesce(max(created_at), 'epoch')::timestamptz AS made_at
FROM recovery_codes WHERE user_id = @user_id;

-- name: AddPasskey :exec
INSERT INTO passkeys (id, user_id, credential_id, credential, name, created_at)
VALUES (@id, @user_id, @credential_id, @credential, @name, @created_at);

-- name: PasskeysOf :many
SELECT id, credential_id, credential, name, created_at, last_used_at FROM passkeys WHERE user_id = @user_id ORDER BY created_at, id;

-- name: UsePasskey :exec
UPDATE passkeys SET credential = @credential, last_used_at = @used_at WHERE user_id = @user_id AND credential_id = @credential_id;

-- name: DeletePasskey :execrows
DELETE FROM passkeys WHERE user_id = @user_id AND id = @id;

-- name: DeletePasskeys :exec
DELETE FROM passkeys WHERE user_id = @user_id;

-- name: AddCeremony :exec
INSERT INTO passkey_ceremonies (id, user_id, data, expires_at) VALUES (@id, sqlc.narg('user_id'), @data, @expires_at);

-- TakeCeremony spends a challenge; no row means that it is unknown, spent, too old or another user's.
-- name: TakeCeremony :one
DELETE FROM passkey_ceremonies
WHERE id = @id AND expires_at > @now AND user_id IS NOT DISTINCT FROM sqlc.narg('user_id')
RETURNING data;

-- name: DeleteOldCeremonies :exec
DELETE FROM passkey_ceremonies WHERE expires_at < @before;

-- name: AddAudit :exec
INSERT INTO audit_log (squad_id, id, at, action, by_user, subject, detail)
VALUES (@squad_id, @id, @at, @action, @by_user, @subject, @detail);

-- AuditBefore reads the log backwards; names are those of today, empty for who is no longer in the squad.
-- name: AuditBefore :many
SELECT a.id, a.at, a.action, a.by_user, a.subject, a.detail,
    coalesce((SELECT m.name FROM memberships m WHERE m.squad_id = a.squad_id AND m.user_id = a.by_user), '')::text AS by_name,
    coalesce((SELECT m.name FROM memberships m WHERE m.squad_id = a.squad_id AND m.user_id = a.subject),
        (SELECT t.name FROM athletes t WHERE t.squad_id = a.squad_id AND t.id = a.subject), '')::text AS subject_name
FROM audit_log a
WHERE a.squad_id = @squad_id AND (sqlc.narg('before')::uuid IS NULL OR a.id < sqlc.narg('before'))
ORDER BY a.id DESC LIMIT @max_rows;

-- CountOthers counts what keeps a last coach: the other members, and the athletes.
-- name: CountOthers :one
SELECT (SELECT count(*) FROM memberships m WHERE m.squad_id = @squad_id AND m.user_id <> @user_id)
    + (SELECT count(*) FROM athletes t WHERE t.squad_id = @squad_id);

-- ForgetMember takes what the history says of a user's own memberships.
-- name: ForgetMember :exec
DELETE FROM history h WHERE h.squad_id = @squad_id AND h.kind = 'member' AND h.body ->> 'user_id' = sqlc.arg('user_id')::uuid::text;
