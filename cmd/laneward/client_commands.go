package main

import "github.com/alecthomas/kong"

// clientCommands talk to a server.
type clientCommands struct {
	SignUp  signUpCommand  `cmd:"" group:"people" help:"Sign up, and stay signed in on this computer."`
	SignIn  signInCommand  `cmd:"" group:"people" help:"Sign in on this computer."`
	SignOut signOutCommand `cmd:"" group:"people" help:"Sign out on this computer."`
	Whoami  whoamiCommand  `cmd:"" group:"people" help:"Tell who is signed in."`

	Squads squadsCommand `cmd:"" group:"squads" help:"List your squads."`
	Squad  squadCommand  `cmd:"" group:"squads" help:"Make a squad."`
	Invite inviteCommand `cmd:"" group:"squads" help:"Invite somebody by a one-time code."`
	Join   joinCommand   `cmd:"" group:"squads" help:"Join a squad by a code."`

	List   listCommand   `cmd:"" group:"records" help:"List athletes, balls, patterns, sessions, drills, assignments, shots, members or invitations."`
	Show   showCommand   `cmd:"" group:"records" help:"Show one record."`
	Add    addCommand    `cmd:"" group:"records" help:"Add an athlete, ball, pattern, session or drill."`
	Edit   editCommand   `cmd:"" group:"records" help:"Change an athlete, ball, pattern, session or drill."`
	Delete deleteCommand `cmd:"" group:"records" help:"Delete one record."`
	Export exportCommand `cmd:"" group:"records" help:"Write everything the squad holds of an athlete into a zip."`
	Erase  eraseCommand  `cmd:"" group:"records" help:"Erase an athlete and everything of theirs, for good."`

	Log        logCommand        `cmd:"" group:"practice" help:"Log shots as they are thrown. Needs no network."`
	Sync       syncCommand       `cmd:"" group:"practice" help:"Send what was logged without a network, and fetch what is new."`
	Import     importCommand     `cmd:"" group:"practice" help:"Store the shots of a practice log."`
	Columns    columnsCommand    `cmd:"" group:"practice" help:"List the columns of a practice log."`
	Assign     assignCommand     `cmd:"" group:"practice" help:"Assign a drill to athletes."`
	Score      scoreCommand      `cmd:"" group:"practice" help:"Did they do as asked? One score an athlete."`
	Judgements judgementsCommand `cmd:"" group:"practice" help:"The judgement of each shot."`
	Picture    pictureCommand    `cmd:"" group:"practice" help:"The lane with the corridor and the shots over it, as SVG."`

	Completion completionCommand `cmd:"" group:"shell" help:"Print a script that completes commands in a shell."`
	Complete   completeCommand   `cmd:"" hidden:"" help:"Print what may complete a command line."`
}

// commandGroups are the groups of the help, in their order.
var commandGroups = []kong.Group{
	{Key: "people", Title: "Signing in:"},
	{Key: "squads", Title: "Squads:"},
	{Key: "records", Title: "Records:"},
	{Key: "practice", Title: "Practice:"},
	{Key: "lines", Title: "Oil and lines:"},
	{Key: "shell", Title: "Shell:"},
}

// helpWidth is the widest that help is laid out, in columns.
const helpWidth = 120
