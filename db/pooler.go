package db

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// behindPooler reports whether something between this program and the server hands out the
// server's processes by the transaction. A session's own process is named twice, by who answers its
// start and by the server itself, and a pooler has to make the first up.
func behindPooler(ctx context.Context, config *pgx.ConnConfig) (bool, error) {
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return false, err
	}
	defer conn.Close(context.WithoutCancel(ctx)) //nolint:errcheck // it has given its answer
	var process uint32
	err = conn.QueryRow(ctx, "SELECT pg_backend_pid()", pgx.QueryExecModeSimpleProtocol).Scan(&process)
	return process != conn.PgConn().PID(), err
}

// pooledMode is how statements are sent through a pooler.
//
// By a session of its own the driver prepares each statement once under a name, which spares the
// server from planning it again. Behind a pooler the next transaction meets another session, where
// the name is unknown, or taken already. There the driver only remembers the types of a statement,
// and sends it whole each time, in one message and unnamed; knowing the types, it keeps to the binary
// formats. Planning again costs some tenths of a millisecond a transaction.
const pooledMode = pgx.QueryExecModeCacheDescribe
