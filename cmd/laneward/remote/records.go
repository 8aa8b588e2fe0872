package remote

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
)

type addCommand struct {
	Athlete add[athleteFlags] `cmd:"" help:"Add an athlete."`
	Ball    add[ballFlags]    `cmd:"" help:"Add a ball to an athlete's arsenal."`
	Pattern add[patternFlags] `cmd:"" help:"Add an oil pattern."`
	Session add[sessionFlags] `cmd:"" help:"Add a practice session or a block."`
	Drill   addDrillCommand   `cmd:"" help:"Add a drill, its rules typed as sentences."`
}

type editCommand struct {
	Athlete edit[athleteFlags] `cmd:"" help:"Change an athlete."`
	Ball    edit[ballFlags]    `cmd:"" help:"Change a ball."`
	Pattern edit[patternFlags] `cmd:"" help:"Change a pattern."`
	Session edit[sessionFlags] `cmd:"" help:"Change a session."`
	Drill   edit[drillFlags]   `cmd:"" help:"Change a drill."`
	Shot    editShotCommand    `cmd:"" help:"Correct a shot."`
}

// fields are a record's fields by their names in the contract.
type fields map[string]any

// recordFlags are the flags of a kind of record, the same for a new one and a changed one. The tag
// field of a flag names what it sets in the record, ref the kind of record whose name or id it
// takes, and drops what the record then no longer has.
type recordFlags interface {
	kind() client.Kind
	// help returns what laneward add and laneward edit say of the kind.
	help() (add, edit string)
	// start returns what a new record has where no flag says otherwise, or what the flags lack.
	start(conn *squadConnection) (fields, error)
}

// resolver is the value of a flag that is resolved to something else in the record.
type resolver interface {
	resolve(ctx context.Context, conn *squadConnection) (any, error)
}

// add stores a new record.
type add[F recordFlags] struct {
	squadFlags
	File   string `placeholder:"FILE" help:"Read the record from a JSON file, - for stdin; flags override it."`
	Name   string `arg:"" optional:"" field:"name" help:"Its name; optional when the file has one."`
	Fields F      `embed:""`
}

// Help returns the command's examples.
func (c add[F]) Help() string {
	text, _ := c.Fields.help()
	return text
}

// Run adds the record.
func (c *add[F]) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	var record fields
	switch {
	case c.File != "":
		record, err = readRecord(env, c.File)
	case c.Name == "":
		err = terminal.Usage("give a name, or a file with --file")
	default:
		record, err = c.Fields.start(conn)
	}
	if err == nil {
		err = conn.take(ctx, record, reflect.ValueOf(*c))
	}
	if err != nil {
		return err
	}
	stored, err := conn.Create(ctx, conn.squad, c.Fields.kind(), record)
	if err != nil {
		return inFlags(err, *c)
	}
	name, err := stored.Name()
	if err != nil {
		return err
	}
	return conn.Done(stored.ID, stored.JSON, "Added %s %s.", stored.Kind, name)
}

// readRecord reads a record as the contract has it from a JSON file.
func readRecord(env terminal.Environment, path string) (fields, error) {
	text, err := env.ReadInput(path)
	if err != nil {
		return nil, err
	}
	var record fields
	if err := json.Unmarshal(text, &record); err != nil {
		return nil, fmt.Errorf("%s is not one record in JSON: %w", path, err)
	}
	if record == nil {
		return nil, fmt.Errorf("%s is not one record in JSON: it is null", path)
	}
	return record, nil
}

// changeFlags are what changing any kind of record has.
type changeFlags struct {
	squadFlags
	Old   string   `arg:"" name:"name" help:"Its name or id; a session also answers to its day."`
	Clear []string `placeholder:"FIELD" help:"Clear this field, named as in --json, such as speed_mph; repeat it for more."`
}

// edit changes a record.
type edit[F recordFlags] struct {
	changeFlags
	Rename string `placeholder:"NAME" field:"name" help:"Its new name."`
	Fields F      `embed:""`
}

// Help returns the command's examples.
func (c edit[F]) Help() string {
	_, text := c.Fields.help()
	return "Only the flags you give change the record" + text
}

// Run changes the record.
func (c *edit[F]) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	old, err := conn.find(ctx, c.Fields.kind(), c.Old)
	if err != nil {
		return err
	}
	changed, err := conn.change(ctx, old, c.Clear, reflect.ValueOf(*c))
	if err != nil {
		return err
	}
	name, err := changed.Name()
	if err != nil {
		return err
	}
	return conn.Done(changed.ID, changed.JSON, "Changed %s %s.", changed.Kind, name)
}

// change stores a record as the flags of a command change it, unless another user has changed it
// meanwhile.
func (c *squadConnection) change(
	ctx context.Context,
	old client.Record,
	cleared []string,
	flags reflect.Value,
) (client.Record, error) {
	record, err := client.Decode[fields](old)
	if err != nil {
		return client.Record{}, err
	}
	delete(record, "sentences") // of a drill's rules: the server writes them anew
	if err := c.take(ctx, record, flags); err != nil {
		return client.Record{}, err
	}
	for _, name := range cleared { // one that is not there may be misspelt
		if _, there := record[name]; !there {
			return client.Record{}, terminal.Usage(
				"nothing is recorded under %q; --clear takes one of %s",
				name,
				strings.Join(slices.Sorted(maps.Keys(record)), ", "),
			)
		}
		delete(record, name)
	}
	changed, err := c.Replace(ctx, c.squad, old, record)
	return changed, inFlags(err, flags.Interface())
}

// take sets what was given of the flags of a command in a record.
func (c *squadConnection) take(ctx context.Context, record fields, flags reflect.Value) error {
	for i := range flags.NumField() {
		flag, tag := flags.Field(i), flags.Type().Field(i).Tag
		name, sets := tag.Lookup("field")
		switch {
		case !sets && flag.Kind() == reflect.Struct:
			if err := c.take(ctx, record, flag); err != nil {
				return err
			}
			continue
		case !sets || flag.IsZero():
			continue
		}
		value := flag.Interface()
		var err error
		switch ref := client.Kind(tag.Get("ref")); {
		case ref == client.Ball:
			value, err = c.ballOf(ctx, record.athlete(), flag.String())
		case ref != "":
			value, err = c.findID(ctx, ref, flag.String())
		default:
			if given, ok := value.(resolver); ok {
				value, err = given.resolve(ctx, c)
			}
		}
		if err != nil {
			return err
		}
		record[name] = value
		if dropped, ok := tag.Lookup("drops"); ok {
			delete(record, dropped)
		}
	}
	return nil
}

// inFlags names the flags whose values a server has refused, where all that it refuses are values
// of flags with a tag field.
func inFlags(err error, command any) error {
	var failure *client.Error
	if !errors.As(err, &failure) || failure.Code != client.Invalid || len(failure.Faults) == 0 {
		return err
	}
	names := make(map[string]string)
	flagsByField(reflect.ValueOf(command), names)
	said := make([]string, len(failure.Faults))
	for i, fault := range failure.Faults {
		flag, known := names[fault.Pointer[strings.LastIndex(fault.Pointer, "/")+1:]]
		if !known {
			return err
		}
		said[i] = "--" + flag + " " + fault.Detail
	}
	return terminal.Usage("%s", strings.Join(said, "; "))
}

// flagsByField collects the flags that were given by the fields they set.
func flagsByField(command reflect.Value, names map[string]string) {
	for i := range command.NumField() {
		value, field := command.Field(i), command.Type().Field(i)
		sets, ok := field.Tag.Lookup("field")
		_, argument := field.Tag.Lookup("arg")
		switch {
		case !ok && value.Kind() == reflect.Struct:
			flagsByField(value, names)
		case !ok || argument || value.IsZero():
		default:
			flag := field.Tag.Get("name")
			if flag == "" {
				flag = strings.ToLower(wordStart.ReplaceAllString(field.Name, "$1-$2"))
			}
			for one := range strings.SplitSeq(sets, ",") {
				names[one] = flag
			}
		}
	}
}

// wordStart is where a word begins in a name such as RevRate.
var wordStart = regexp.MustCompile("([a-z])([A-Z])")

// athlete is whose record it is, the nil UUID when it is not an athlete's.
func (f fields) athlete() uuid.UUID {
	id, err := uuid.Parse(fmt.Sprint(f["athlete_id"]))
	if err != nil {
		return uuid.Nil
	}
	return id
}
