package server

// Commands run a server.
type Commands struct {
	Serve   serveCommand   `cmd:"" help:"Run the server, with a Postgres of its own when none is named."`
	Demo    demoCommand    `cmd:"" help:"Serve an invented squad to look at and try."`
	Migrate migrateCommand `cmd:"" help:"Bring a database to this program's schema."`
	Users   usersCommand   `cmd:"" help:"Help a user of this server who cannot sign in."`
	Quota   quotaCommand   `cmd:"" help:"Show or set how many records a squad of this server may have."`
}
