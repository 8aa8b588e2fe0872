package desk

// Commands work on the copy of the squads on this computer.
type Commands struct {
	SignOut signOutCommand `cmd:"" group:"people" help:"Sign out on this computer."`
	Log     logCommand     `cmd:"" group:"practice" help:"Log shots as they are thrown. Needs no network."`
	Sync    syncCommand    `cmd:"" group:"practice" help:"Send what was logged without a network, and fetch what is new."`
}
