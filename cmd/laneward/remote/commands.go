package remote

// Accounts are the commands that say who uses a server.
type Accounts struct {
	SignUp signUpCommand `cmd:"" group:"people" help:"Sign up, and stay signed in on this computer."`
	SignIn signInCommand `cmd:"" group:"people" help:"Sign in on this computer."`
	Whoami whoamiCommand `cmd:"" group:"people" help:"Show who is signed in."`

	Account       accountCommand       `cmd:"" group:"people" help:"Your password, sign-ins and recovery codes."`
	ResetPassword resetPasswordCommand `cmd:"" group:"people" help:"Set a new password with a code, and sign in."`
}

// Commands ask a server.
type Commands struct {
	Squads squadsCommand `cmd:"" group:"squads" help:"List your squads."`
	Squad  squadCommand  `cmd:"" group:"squads" help:"Create a squad."`
	Invite inviteCommand `cmd:"" group:"squads" help:"Invite someone with a one-time code."`
	Join   joinCommand   `cmd:"" group:"squads" help:"Join a squad with a code."`

	ResetCode resetCodeCommand `cmd:"" group:"squads" help:"Make a code for a member who cannot sign in."`
	Audit     auditCommand     `cmd:"" group:"squads" help:"Who joined, changed roles, reset a password, exported or erased."`

	List   listCommand   `cmd:"" group:"records" help:"List athletes, balls, patterns, sessions, drills, assignments, shots, members or invitations."`
	Show   showCommand   `cmd:"" group:"records" help:"Show one record."`
	Add    addCommand    `cmd:"" group:"records" help:"Add an athlete, ball, pattern, session or drill."`
	Edit   editCommand   `cmd:"" group:"records" help:"Change an athlete, ball, pattern, session or drill."`
	Delete deleteCommand `cmd:"" group:"records" help:"Delete one record."`
	Export exportCommand `cmd:"" group:"records" help:"Write everything the squad holds of an athlete into a zip."`
	Erase  eraseCommand  `cmd:"" group:"records" help:"Erase an athlete and everything of theirs, for good."`

	Import     importCommand     `cmd:"" group:"practice" help:"Store the shots of a practice log."`
	Assign     assignCommand     `cmd:"" group:"practice" help:"Assign a drill to athletes."`
	Score      scoreCommand      `cmd:"" group:"practice" help:"Did they do as asked? One score an athlete."`
	Judgements judgementsCommand `cmd:"" group:"practice" help:"The judgement of each shot."`
	Leaves     leavesCommand     `cmd:"" group:"practice" help:"What first balls left, and what it says."`
	Picture    pictureCommand    `cmd:"" group:"practice" help:"The lane with the corridor and the shots over it, as SVG."`

	Plan    planCommand    `cmd:"" group:"lines" help:"Where should this athlete play this pattern? Ranked lines."`
	Line    lineCommand    `cmd:"" group:"lines" help:"One line worked out, with what its misses do."`
	Compare compareCommand `cmd:"" group:"lines" help:"Two patterns, athletes or balls side by side."`
	Missmap missmapCommand `cmd:"" group:"lines" help:"What every aim does: a miss map."`
	Film    filmCommand    `cmd:"" group:"lines" help:"A pattern's film: volume, ratio and class, fresh or worn."`
}
