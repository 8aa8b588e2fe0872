package main

// planCommands compute films, ball paths and lines.
type planCommands struct {
	Plan    planCommand    `cmd:"" group:"lines" help:"Where should this athlete play this pattern? Ranked lines."`
	Line    lineCommand    `cmd:"" group:"lines" help:"One line worked out, with what its misses do."`
	Compare compareCommand `cmd:"" group:"lines" help:"Two patterns, athletes or balls side by side."`
	Missmap missmapCommand `cmd:"" group:"lines" help:"What becomes of every aim."`
	Film    filmCommand    `cmd:"" group:"lines" help:"A pattern's film: volume, ratio and class, fresh or worn."`
	Oil     oilCommand     `cmd:"" group:"lines" help:"The same for a load table in a file. Needs no server."`
	Path    pathCommand    `cmd:"" group:"lines" help:"Compute ball paths over a film, in bulk. Needs no server."`
}
