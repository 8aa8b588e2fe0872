package remote

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"laneward/cmd/laneward/terminal"

	openapitypes "github.com/oapi-codegen/runtime/types"

	"laneward/openapi/client"
)

type editCommand struct {
	Athlete editAthleteCommand `cmd:"" help:"Change an athlete."`
	Ball    editBallCommand    `cmd:"" help:"Change a ball."`
	Pattern editPatternCommand `cmd:"" help:"Change a pattern."`
	Session editSessionCommand `cmd:"" help:"Change a session."`
	Drill   editDrillCommand   `cmd:"" help:"Change a drill."`
	Shot    editShotCommand    `cmd:"" help:"Correct a shot."`
}

// changeFlags are what changing any kind of record has.
type changeFlags struct {
	squadFlags
	Old   string   `arg:"" name:"name" help:"Its name or id; a session also answers to its day."`
	Clear []string `placeholder:"FIELD" help:"Take away what is recorded there, by its name in --json, such as speed_mph; repeat it for more."`
}

// renameFlags are for kinds with names.
type renameFlags struct {
	Rename string `placeholder:"NAME" help:"Its new name."`
}

// editRecord changes a record, under whatever name it has then.
func editRecord[T any](
	ctx context.Context,
	env terminal.Environment,
	f changeFlags,
	kind client.Kind,
	fill func(*squadConnection, *T) error,
) error {
	conn, err := f.enter(ctx, env)
	if err != nil {
		return err
	}
	old, err := conn.find(ctx, kind, f.Old)
	if err != nil {
		return err
	}
	record, err := change(ctx, conn, old, f.Clear, func(value *T) error { return fill(conn, value) })
	if err != nil {
		return err
	}
	name, err := record.Name()
	if err != nil {
		return err
	}
	return conn.Done(record.ID, record.JSON, "Changed %s %s.", kind, name)
}

// change stores a changed record, unless somebody else has changed it meanwhile.
func change[T any](
	ctx context.Context,
	conn *squadConnection,
	old client.Record,
	cleared []string,
	fill func(*T) error,
) (client.Record, error) {
	value, err := client.Decode[T](old)
	if err != nil {
		return client.Record{}, err
	}
	if err := fill(&value); err != nil {
		return client.Record{}, err
	}
	if len(cleared) == 0 {
		return conn.Replace(ctx, conn.squad, old, value)
	}
	fields, err := without(value, cleared)
	if err != nil {
		return client.Record{}, err
	}
	return conn.Replace(ctx, conn.squad, old, fields)
}

// without returns a record's fields less some. One that is not there is refused, for it may be
// misspelt.
func without(record any, names []string) (map[string]json.RawMessage, error) {
	text, err := json.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(text, &fields); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	for _, name := range names {
		if _, there := fields[name]; !there {
			return nil, terminal.Usage(
				"nothing is recorded under %q to be cleared: there is %s",
				name,
				strings.Join(slices.Sorted(maps.Keys(fields)), ", "),
			)
		}
		delete(fields, name)
	}
	return fields, nil
}

// set takes over what was given.
func set[T any](field **T, given *T) {
	if given != nil {
		*field = given
	}
}

// setWord takes over a text that was given.
func setWord[T ~string](field **T, given string) {
	if given != "" {
		value := T(given)
		*field = &value
	}
}

func dateOf(d *terminal.Day) *openapitypes.Date {
	if d == nil {
		return nil
	}
	return &d.Date
}
