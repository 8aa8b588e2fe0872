package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	"github.com/google/uuid"

	"laneward/service/record"
	"laneward/service/shot"
)

// The limits of one log, as it is when unpacked.
const (
	MaxLogRows  = 10_000
	MaxLogBytes = 32 << 20
)

// LogFormat is a format a practice log arrives in.
type LogFormat string

// The formats of a log.
const (
	LogCSV    LogFormat = "csv"
	LogNDJSON LogFormat = "ndjson"
	LogJSON   LogFormat = "json"
)

// Log is a practice log to store. Athlete and Drill hold for the rows that do not say; Nil for
// none.
type Log struct {
	Format  LogFormat
	Body    io.Reader
	Session uuid.UUID
	Athlete uuid.UUID
	Drill   uuid.UUID
}

// RowOutcome is what became of one row of a log. Current is the shot as stored, when the row
// conflicts with it.
type RowOutcome struct {
	Row     int
	ID      uuid.UUID
	Status  Status
	Faults  []record.Fault
	Current *record.Shot
}

// UploadResult is what became of a log: an outcome for each row in their order, and the squad's
// revision after it.
type UploadResult struct {
	Rev      int64
	Outcomes []RowOutcome
}

// Upload stores the shots of a practice log. Rows are read and checked before the squad's lock is
// taken. A bad row never holds up the good ones; a log that cannot be read as one stores nothing.
func (s *Service) Upload(ctx context.Context, user, squad uuid.UUID, log Log) (result UploadResult, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error { return w.logAthlete(ctx, &log) })
	if err != nil {
		return result, err
	}
	names := &logNames{ids: make(map[record.Kind]map[ownName][]uuid.UUID)}
	names.read = func(kind record.Kind, visit func(record.Record) error) error {
		return s.readSquad(ctx, user, squad, func(w *work) error { return w.each(ctx, kind, w.athlete, visit) })
	}
	result.Outcomes, err = readLog(log, names)
	if err != nil {
		return result, err
	}
	var changes []Change
	var at []int
	for i, row := range result.Outcomes {
		if row.Status == "" {
			changes = append(changes, Change{Record: row.Current, Exact: true})
			at = append(at, i)
		}
	}
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		outcomes, rev, err := w.apply(ctx, changes)
		if err != nil {
			return err
		}
		result.Rev = rev
		for i, outcome := range outcomes {
			result.Outcomes[at[i]].settle(outcome)
		}
		return nil
	})
	return result, err
}

// settle takes over what became of a row's change.
func (r *RowOutcome) settle(outcome Outcome) {
	r.Status, r.Faults, r.Current = outcome.Status, outcome.Faults, nil
	switch outcome.Status {
	case StatusWaiting:
		r.Status = StatusRefused // a log names records that already exist, so there is nothing to wait for
	case StatusConflict:
		r.Current, _ = outcome.Record.(*record.Shot)
		r.Faults = []record.Fault{
			{
				Code:   string(Conflict),
				Detail: "another shot is stored in this place: nothing was changed. To correct a stored shot, edit that one",
			},
		}
		if outcome.Deleted {
			r.Faults[0].Detail = "this shot was stored before and has been deleted since"
		}
	}
}

// readLog reads and checks all rows. A row without a status is valid.
func readLog(log Log, names *logNames) ([]RowOutcome, error) {
	options := shot.Options{
		SessionID: log.Session, AthleteID: log.Athlete, DrillID: log.Drill, MaxBytes: MaxLogBytes, MaxRows: MaxLogRows,
		Athlete: names.athlete, Ball: names.ball, Drill: names.drill,
	}
	var source iter.Seq2[shot.Row, error]
	switch log.Format {
	case LogCSV:
		source = shot.ReadCSV(log.Body, options)
	case LogNDJSON:
		source = shot.ReadNDJSON(log.Body, options)
	case LogJSON:
		source = shot.ReadJSON(log.Body, options)
	default:
		return nil, fail(
			Invalid,
			"%q is not a format of a log: send text/csv, application/x-ndjson or application/json",
			log.Format,
		)
	}
	var outcomes []RowOutcome
	for row, err := range source {
		if err != nil {
			return nil, logError(err)
		}
		outcome := RowOutcome{Row: row.Number, ID: row.Shot.ID}
		if len(row.Faults) > 0 {
			outcome.Status, outcome.Faults = StatusRefused, record.ShotFaults(row.Faults)
		} else {
			outcome.Current = &record.Shot{Shot: row.Shot}
		}
		outcomes = append(outcomes, outcome)
	}
	if names.err != nil {
		return nil, names.err
	}
	if len(outcomes) == 0 {
		return nil, fail(Invalid, "the log has no rows: nothing was stored")
	}
	return outcomes, nil
}

func logError(err error) error {
	var broken *shot.LogError
	if !errors.As(err, &broken) {
		return fmt.Errorf("read a log: %w", err)
	}
	code := Invalid
	switch broken.Code {
	case shot.LogTooLarge, shot.LogTooLong:
		code = TooLarge
	}
	return &Error{Code: code, Detail: broken.Error() + " (nothing of this log was stored)", cause: broken.Cause}
}

// logAthlete lets the session and the user say whose log it is when the request does not.
func (w *work) logAthlete(ctx context.Context, log *Log) error {
	found, err := w.get(ctx, record.KindSession, log.Session)
	if err != nil {
		return w.orErased(ctx, err, log.Session)
	}
	if w.role == record.RoleAnalyst {
		return fail(Forbidden, "an analyst reads everything and changes nothing: ask a coach to upload the log")
	}
	if log.Athlete == uuid.Nil {
		if owner := found.Owner(); owner != nil {
			log.Athlete = *owner
		} else if w.athlete != nil {
			log.Athlete = *w.athlete
		}
	}
	return nil
}

// logNames finds the athletes, balls and drills that a log calls by name. A kind is read when the
// log first names one of it.
type logNames struct {
	read func(kind record.Kind, visit func(record.Record) error) error
	ids  map[record.Kind]map[ownName][]uuid.UUID
	err  error // of reading
}

// ownName is a name as it is looked up. The owner is a ball's athlete, the nil UUID for other
// kinds.
type ownName struct {
	owner uuid.UUID
	name  string
}

func (n *logNames) find(kind record.Kind, what string, owner uuid.UUID, name string) (uuid.UUID, error) {
	if n.ids[kind] == nil {
		ids := make(map[ownName][]uuid.UUID)
		n.err = errors.Join(n.err, n.read(kind, func(r record.Record) error {
			key := nameOf(r)
			ids[key] = append(ids[key], r.Key())
			return nil
		}))
		n.ids[kind] = ids
	}
	switch found := n.ids[kind][ownName{owner, fold(name)}]; len(found) {
	case 1:
		return found[0], nil
	case 0:
		return uuid.Nil, fmt.Errorf("there is no %s called %q: check the name, or write the id", what, name)
	default:
		return uuid.Nil, fmt.Errorf("%d are called %q: write the id of the %s", len(found), name, what)
	}
}

func nameOf(rec record.Record) ownName {
	switch r := rec.(type) {
	case *record.Athlete:
		return ownName{name: fold(r.Name)}
	case *record.Drill:
		return ownName{name: fold(r.Name)}
	case *record.Ball:
		return ownName{r.AthleteID, fold(r.Name)}
	}
	return ownName{}
}

// fold makes names equal that differ in case and spaces only.
func fold(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

func (n *logNames) athlete(name string) (uuid.UUID, error) {
	return n.find(record.KindAthlete, "athlete", uuid.Nil, name)
}

func (n *logNames) drill(name string) (uuid.UUID, error) {
	return n.find(record.KindDrill, "drill", uuid.Nil, name)
}

func (n *logNames) ball(athlete uuid.UUID, name string) (uuid.UUID, error) {
	return n.find(record.KindBall, "ball of this athlete", athlete, name)
}
