// Package offline holds the commands on files, which need no server.
package offline

// Commands need no server.
type Commands struct {
	Columns    columnsCommand    `cmd:"" group:"practice" help:"List the columns of a practice log."`
	Oil        oilCommand        `cmd:"" group:"lines" help:"The same for a load table in a file. Needs no server."`
	Rule       ruleCommand       `cmd:"" group:"practice" help:"Read a rule in words, and judge a log by it. Needs no server."`
	Read       readCommand       `cmd:"" group:"lines" help:"Read a lane from the shots thrown on it. Needs no server."`
	Transition transitionCommand `cmd:"" group:"lines" help:"Say when a lane changed under the shots thrown on it. Needs no server."`
	Path       pathCommand       `cmd:"" group:"lines" help:"Compute ball paths over a film, in bulk. Needs no server."`
}
