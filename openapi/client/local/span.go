package local

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"laneward/openapi/client"
)

// span is which sessions and shots a copy holds: those of sessions held on a day or later, "" for
// all, and of one athlete, nil for everybody's. Everything else it holds whole.
type span struct {
	since   string
	athlete *uuid.UUID
}

// Why a copy is read: another span was asked for, or older sessions are added to the one there is.
const (
	otherSpan = "span"
	older     = "older"
)

// All is the span of a copy that holds all sessions.
const All = "all"

const dayLayout = "2006-01-02"

// sinceOf reads a day as YYYY-MM-DD, a number of days before today such as 90d, or [All]. days
// reports that it was a number.
func sinceOf(text string, now time.Time) (since string, days bool, err error) {
	if text == All {
		return "", false, nil
	}
	if number, is := strings.CutSuffix(text, "d"); is {
		n, err := strconv.Atoi(number)
		if err == nil && n > 0 && n <= maxDays {
			return now.AddDate(0, 0, -n).Format(dayLayout), true, nil
		}
	} else if _, err := time.Parse(dayLayout, text); err == nil {
		return text, false, nil
	}
	return "", false, &client.Error{
		Code:   client.Invalid,
		Detail: fmt.Sprintf("%q is neither a day nor a number of days: write for example 2026-09-01, 90d or all", text),
	}
}

const maxDays = 36_500

// Hold makes the copy hold the sessions since a day, as sinceOf reads it, and with an athlete only
// theirs, shared ones and their shots. Older sessions are added to the copy there is; for anything
// else the next pass reads a new one. A number of days never drops what the copy holds already.
func (y *Sync) Hold(ctx context.Context, since string, athlete *uuid.UUID) error {
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return err
	}
	day, days, err := sinceOf(since, y.Store.now())
	if err != nil {
		return err
	}
	sameAthlete := textOf(at.athlete) == textOf(athlete)
	wider := at.since != "" && (day == "" || day < at.since)
	switch {
	case sameAthlete && (day == at.since || days && at.since != "" && !wider):
		return nil
	case sameAthlete && wider && at.cursor != "":
		return y.extend(ctx, at, day)
	}
	next := place{copied: at.copied + 1, why: otherSpan, span: span{day, athlete}}
	if at.keeps() { // the copy that was being read still shows what a restore has lost
		next.why, next.common = at.why, at.common
	}
	_, err = y.Store.advance(ctx, y.Squad, at, next, nil, nothing)
	return err
}

// extend begins to add the sessions since a day to the copy. Where its cursor leads nowhere any more
// a new copy is read.
func (y *Sync) extend(ctx context.Context, at place, since string) error {
	page, err := y.Client.Snapshot(ctx, y.Squad, client.SnapshotQuery{
		Since:   since,
		Athlete: at.athlete,
		Extends: at.cursor,
	})
	wanted := span{since, at.athlete}
	if beginsAgain(err) {
		return y.Store.hold(ctx, y.Squad, wanted)
	}
	if err != nil {
		return err
	}
	next := place{cursor: page.Cursor, page: page.Page, copied: at.copied, why: older, span: span{page.Since, at.athlete}}
	if page.Cursor != "" {
		next.why = ""
	}
	_, err = y.Store.advance(ctx, y.Squad, at, next, page.Items, nothing)
	return err
}

// hold records what the next copy is to hold.
func (s *Store) hold(ctx context.Context, squad uuid.UUID, wanted span) error {
	_, err := s.db.ExecContext(
		ctx,
		`UPDATE squads SET since = ?, of_athlete = ? WHERE id = ?`,
		wanted.since,
		textOf(wanted.athlete),
		squad.String(),
	)
	return err
}

// reachUnsent adds to the copy what is older than it when a session of that time waits to be sent:
// the copy would drop it as soon as it has been.
func (y *Sync) reachUnsent(ctx context.Context) error {
	var day string
	err := y.Store.db.QueryRowContext(ctx, `SELECT coalesce(min(c.body ->> '$.date'), '') FROM changes c JOIN squads s ON s.id = c.squad
		WHERE c.squad = ? AND c.kind = 'session' AND c.body ->> '$.date' < s.since AND s.cursor <> ''`, y.Squad.String()).
		Scan(&day)
	if err != nil || day == "" {
		return err
	}
	at, err := y.Store.place(ctx, y.Squad)
	if err != nil {
		return err
	}
	if err := y.extend(ctx, at, day); !errors.Is(err, errMoved) {
		return err
	}
	return nil
}
