package service

import (
	"archive/zip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
	"laneward/service/shot"
)

// TombstoneLife is how long deletions are remembered for devices that were away.
const TombstoneLife = 180 * 24 * time.Hour

// Forget removes the tombstones older than [TombstoneLife] and old sign-ins. It returns the number
// of tombstones removed.
func (s *Service) Forget(ctx context.Context) (forgotten int64, err error) {
	now := s.clock()
	err = s.db.Global(ctx, func(tx *db.Tx) error {
		if forgotten, err = tx.ForgetTombstones(
			ctx,
			db.ForgetTombstonesParams{Before: now.Add(-TombstoneLife)},
		); err != nil {
			return err
		}
		_, err = tx.DeleteOldRefreshFamilies(ctx, db.DeleteOldRefreshFamiliesParams{Before: now.Add(-refreshTTL)})
		return err
	})
	return forgotten, err
}

// Erase removes an athlete and everything of theirs, the history included. What remains is that ids
// are gone, so that devices drop them too. confirm is the athlete's name, to be sure that it is
// meant. It returns how many records were removed.
func (s *Service) Erase(ctx context.Context, user, squad, athlete uuid.UUID, confirm string) (erased int64, err error) {
	err = s.inSquad(ctx, user, squad, func(w *work) error {
		erased = 0
		if err := w.mustCoach(); err != nil {
			return err
		}
		clock, err := w.LockClock(ctx, db.LockClockParams{SquadID: squad})
		if err != nil {
			return err
		}
		found, err := w.get(ctx, record.KindAthlete, athlete)
		if err != nil {
			return err
		}
		if name := found.(*record.Athlete).Name; confirm != name {
			return InvalidError(
				[]record.Fault{
					{
						Pointer: "/confirm",
						Code:    "mismatch",
						Detail:  fmt.Sprintf("to erase for good, confirm with the athlete's name, %q", name),
					},
				},
			)
		}
		for _, step := range w.eraseSteps(ctx, athlete) {
			n, err := step(clock.Rev + erased)
			if err != nil {
				return err
			}
			erased += n
		}
		if err := w.EraseHistory(ctx, db.EraseHistoryParams{SquadID: squad, Athlete: athlete}); err != nil {
			return err
		}
		w.reached, err = w.AdvanceClock(ctx, db.AdvanceClockParams{SquadID: squad, ByRows: erased})
		return err
	})
	return erased, err
}

// eraseSteps remove one kind each, children before parents, giving tombstones the revisions after
// the one they are called with.
func (w *work) eraseSteps(ctx context.Context, athlete uuid.UUID) []func(after int64) (int64, error) {
	by, at := w.user, w.now
	return []func(int64) (int64, error){
		func(after int64) (int64, error) {
			return w.EraseShots(
				ctx,
				db.EraseShotsParams{SquadID: w.squad, Athlete: athlete, AfterRev: after, DeletedBy: by, DeletedAt: at},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseAssignments(
				ctx,
				db.EraseAssignmentsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseSessions(
				ctx,
				db.EraseSessionsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseBalls(
				ctx,
				db.EraseBallsParams{SquadID: w.squad, Athlete: athlete, AfterRev: after, DeletedBy: by, DeletedAt: at},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseMemberships(
				ctx,
				db.EraseMembershipsParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
		func(after int64) (int64, error) {
			return w.EraseAthletes(
				ctx,
				db.EraseAthletesParams{
					SquadID:   w.squad,
					Athlete:   athlete,
					AfterRev:  after,
					DeletedBy: by,
					DeletedAt: at,
				},
			)
		},
	}
}

// Export writes everything the squad holds of an athlete as a zip: each kind as JSON, the shots as
// CSV too, and the versions that were replaced. A coach may export anyone, an athlete themself.
// begin is called before the first byte, when it is sure that there is something to write.
func (s *Service) Export(ctx context.Context, user, squad, athlete uuid.UUID, begin func() (io.Writer, error)) error {
	return s.readSquad(ctx, user, squad, func(w *work) error {
		if w.role == record.RoleAnalyst {
			return w.mustCoach()
		}
		rec, err := w.get(ctx, record.KindAthlete, athlete)
		if err != nil {
			return err
		}
		out, err := begin()
		if err != nil {
			return err
		}
		archive := zip.NewWriter(out)
		if err := w.export(ctx, archive, rec.(*record.Athlete)); err != nil {
			return err
		}
		return archive.Close()
	})
}

// eachPage is how many records are read at a time, so that a long career does not have to fit in
// memory.
const eachPage = 2_000

func (w *work) export(ctx context.Context, archive *zip.Writer, athlete *record.Athlete) error {
	id := athlete.ID
	if err := w.addJSON(archive, "athlete.json", athlete); err != nil {
		return err
	}
	for _, kind := range []record.Kind{
		record.KindMember, record.KindBall, record.KindAssignment, record.KindDrill, record.KindShot,
	} {
		if err := w.exportKind(ctx, archive, kind, id); err != nil {
			return err
		}
	}
	if err := w.exportSessions(ctx, archive, id); err != nil {
		return err
	}
	history, err := w.HistoryOfAthlete(
		ctx,
		db.HistoryOfAthleteParams{SquadID: w.squad, Athlete: id, MaxRows: maxHistory},
	)
	if err != nil {
		return err
	}
	versions := make([]map[string]any, len(history))
	for i, h := range history {
		versions[i] = map[string]any{
			"kind":        h.Kind,
			"id":          h.ID,
			"rev":         h.Rev,
			"replaced_at": h.ReplacedAt,
			"record":      h.Body,
		}
	}
	if err := w.addJSON(archive, "replaced-versions.json", versions); err != nil {
		return err
	}
	return w.exportCSV(ctx, archive, id)
}

// maxHistory is more versions than a person's records have.
const maxHistory = 1_000_000

func (w *work) addFile(archive *zip.Writer, name string) (io.Writer, error) {
	return archive.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: w.now})
}

func (w *work) addJSON(archive *zip.Writer, name string, value any) error {
	file, err := w.addFile(archive, name)
	if err != nil {
		return err
	}
	encoder := json.NewEncoder(file)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// each visits the records of a kind, all or what an athlete may see, page by page.
func (w *work) each(ctx context.Context, kind record.Kind, athlete *uuid.UUID, visit func(record.Record) error) error {
	rev, err := w.clock(ctx)
	if err != nil {
		return err
	}
	for in := (window{0, rev}); in.after < in.upto; {
		found, reached, err := w.after(ctx, kind, in, eachPage, athlete)
		if err != nil {
			return err
		}
		for _, one := range found {
			if err := visit(one.Record); err != nil {
				return err
			}
		}
		in.after = reached
	}
	return nil
}

func (w *work) exportKind(ctx context.Context, archive *zip.Writer, kind record.Kind, athlete uuid.UUID) error {
	file, err := w.addFile(archive, string(kind)+"s.ndjson")
	if err != nil {
		return err
	}
	encoder := json.NewEncoder(file)
	return w.each(ctx, kind, &athlete, func(r record.Record) error { return encoder.Encode(r) })
}

// exportSessions writes the athlete's own sessions and the shared ones they threw in.
func (w *work) exportSessions(ctx context.Context, archive *zip.Writer, athlete uuid.UUID) error {
	thrown, err := w.SessionIDsOfShots(ctx, db.SessionIDsOfShotsParams{SquadID: w.squad, AthleteID: athlete})
	if err != nil {
		return err
	}
	file, err := w.addFile(archive, "sessions.ndjson")
	if err != nil {
		return err
	}
	encoder := json.NewEncoder(file)
	return w.each(ctx, record.KindSession, &athlete, func(r record.Record) error {
		if r.Owner() == nil && !slices.Contains(thrown, r.Key()) {
			return nil
		}
		return encoder.Encode(r)
	})
}

func (w *work) exportCSV(ctx context.Context, archive *zip.Writer, athlete uuid.UUID) error {
	file, err := w.addFile(archive, "shots.csv")
	if err != nil {
		return err
	}
	var failed error
	err = shot.WriteCSV(file, func(yield func(shot.Shot) bool) {
		failed = w.each(ctx, record.KindShot, &athlete, func(r record.Record) error {
			if !yield(r.(*record.Shot).Shot) {
				return fmt.Errorf("export: the writer stopped")
			}
			return nil
		})
	})
	if err != nil {
		return err
	}
	return failed
}
