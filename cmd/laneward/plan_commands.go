package main

// planCommands compute films, ball paths and lines.
type planCommands struct {
	Oil  oilCommand  `cmd:"" group:"lines" help:"Lay a load table: film, volume, ratio and class. Needs no server."`
	Path pathCommand `cmd:"" group:"lines" help:"Compute ball paths over a film, in bulk. Needs no server."`
}
