// Package desk holds the commands that work on the copy of the squads on this computer: logging
// shots, syncing, and settling what the server did not take.
package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/remote"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

// dataDir is where the copies of a person's squads are: the XDG data directory.
func dataDir(env terminal.Environment) (string, error) {
	if dir := env.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "laneward"), nil
	}
	if home := env.Getenv("HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, ".local", "share", "laneward"), nil
	}
	return "", errors.New("neither XDG_DATA_HOME nor HOME says where to keep the copy of your squads: set one of them")
}

// copyConnection is a client command that uses the copy on this computer.
type copyConnection struct {
	remote.Connection
	*local.Store
}

// openCopy opens the copy of the user who is signed in, or was until their sign-in ended. It needs
// no network.
func openCopy(ctx context.Context, env terminal.Environment, f remote.Flags) (*copyConnection, error) {
	conn, err := f.Connect(env)
	if err != nil {
		return nil, err
	}
	held, err := client.OpenStore(terminal.ConfigDir(env)).Load()
	if err != nil {
		return nil, err
	}
	user := held.SignIns[conn.Server()].UserID
	if user == uuid.Nil {
		return nil, &client.Error{
			Code:   client.SignedOut,
			Detail: fmt.Sprintf("nobody is signed in to %s on this computer", conn.Server()),
		}
	}
	dir, err := dataDir(env)
	if err != nil {
		return nil, err
	}
	store, err := local.Open(ctx, dir, conn.Server(), user, env.Now)
	if err != nil {
		return nil, err
	}
	return &copyConnection{conn, store}, nil
}

// withCopy does something with the copy and closes it.
func withCopy(ctx context.Context, env terminal.Environment, f remote.Flags, do func(*copyConnection) error) error {
	c, err := openCopy(ctx, env, f)
	if err != nil {
		return err
	}
	return errors.Join(do(c), c.Close())
}

// localSquad finds the squad a person means among those on this computer.
func (c *copyConnection) localSquad(ctx context.Context, text string) (local.Squad, error) {
	squads, err := c.Squads(ctx)
	if err != nil {
		return local.Squad{}, err
	}
	var mine []openapi.MySquad
	byID := make(map[uuid.UUID]local.Squad)
	for _, squad := range squads {
		if squad.Member {
			mine = append(
				mine,
				openapi.MySquad{SquadID: squad.ID, Name: squad.Name, Role: squad.Role, AthleteID: squad.Athlete},
			)
			byID[squad.ID] = squad
		}
	}
	if len(mine) == 0 {
		return local.Squad{}, errNoCopy
	}
	chosen, err := remote.ChooseSquad(mine, text)
	if err != nil {
		return local.Squad{}, err
	}
	if byID[chosen.SquadID].SyncedAt.IsZero() {
		return local.Squad{}, errNoCopy
	}
	return byID[chosen.SquadID], nil
}

var errNoCopy = terminal.NotFound("there is no copy of your squad on this computer yet: run laneward sync once with a network, and it can do without from then on")

// titleOf says which record a change is to, as a person would: shot 12 of Practice 2026-11-20.
func (c *copyConnection) titleOf(ctx context.Context, p local.Pending) (string, error) {
	for _, body := range []json.RawMessage{p.Mine, p.Theirs} {
		if body == nil {
			continue
		}
		var known struct {
			Name      string
			Date      string
			Order     int
			SessionID *uuid.UUID `json:"session_id"`
		}
		if err := json.Unmarshal(body, &known); err != nil {
			continue // what was typed may be of any type, and be refused for that
		}
		switch {
		case known.Order > 0 && known.SessionID != nil:
			session, err := c.nameOf(ctx, p.Squad, client.Session, *known.SessionID)
			return fmt.Sprintf("%s %d of %s", p.Kind, known.Order, session), err
		case known.Name != "":
			return strings.TrimSpace(fmt.Sprintf("%s %s %s", p.Kind, known.Name, known.Date)), nil
		}
	}
	return fmt.Sprintf("%s %s", p.Kind, p.ID), nil
}

// nameOf is what a record on this computer is called; its id when it has no name or is not here.
func (c *copyConnection) nameOf(ctx context.Context, squad uuid.UUID, kind client.Kind, id uuid.UUID) (string, error) {
	record, err := c.Get(ctx, squad, kind, id)
	if client.CodeOf(err) == client.NotFound {
		return id.String(), nil
	}
	if err != nil {
		return "", err
	}
	called, err := client.Decode[struct{ Name, Date string }](record.Record)
	if err != nil || called.Name == "" {
		return id.String(), err
	}
	return strings.TrimSpace(called.Name + " " + called.Date), nil
}

// fieldText writes a field's value for reading: names for ids, no quotation marks.
func (c *copyConnection) fieldText(
	ctx context.Context,
	squad uuid.UUID,
	name string,
	value json.RawMessage,
) (string, error) {
	var decoded any
	if len(value) == 0 {
		return "nothing", nil
	}
	if err := json.Unmarshal(value, &decoded); err != nil {
		return "", fmt.Errorf("read the field %s: %w", name, err)
	}
	switch v := decoded.(type) {
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64), nil
	case []any:
		if len(v) == 0 && name == "standing" {
			return "strike", nil
		}
	case string:
		kind, refers := strings.CutSuffix(name, "_id")
		id, err := uuid.Parse(v)
		if !refers || err != nil {
			return v, nil //nolint:nilerr // not an id: the text itself
		}
		return c.nameOf(ctx, squad, client.Kind(kind), id)
	}
	return string(value), nil
}

// reasonLines say why a change was not taken, each with its place.
func reasonLines(faults []openapi.Fault) []string {
	lines := make([]string, len(faults))
	for i, fault := range faults {
		lines[i] = fault.Detail
		if place := terminal.PlaceOf(strings.TrimPrefix(fault.Pointer, "/record")); place != "" {
			lines[i] = place + ": " + fault.Detail
		}
	}
	return lines
}

func reasons(faults []openapi.Fault) string { return strings.Join(reasonLines(faults), "; ") }
