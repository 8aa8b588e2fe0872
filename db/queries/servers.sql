-- name: ClocksSince :one
SELECT upto::bigint AS upto, squad_ids::uuid[] AS squad_ids, revs::bigint[] AS revs
FROM clocks_since(@since::bigint) AS c (upto, squad_ids, revs);

-- name: PublishKey :exec
INSERT INTO server_keys (id, public_key, seen_at) VALUES (@id, @public_key, @seen_at)
ON CONFLICT (id) DO UPDATE SET seen_at = greatest(server_keys.seen_at, excluded.seen_at);

-- name: ServerKeys :many
SELECT id, public_key, seen_at FROM server_keys WHERE seen_at > @after ORDER BY id;

-- name: ForgetServerKeys :exec
DELETE FROM server_keys WHERE seen_at < @before;

-- name: OfferSecret :exec
INSERT INTO shared_secrets (purpose, secret) VALUES (@purpose, @secret) ON CONFLICT (purpose) DO NOTHING;

-- name: SharedSecret :one
SELECT secret FROM shared_secrets WHERE purpose = @purpose;
