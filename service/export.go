package service

import (
	"archive/zip"
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/background"
	"laneward/service/record"
	"laneward/service/shot"
)

// Export writes everything the squad holds of an athlete as a zip: each kind as JSON, the shots as
// CSV too, and the versions that were replaced. A coach may export anyone, an athlete themself.
// All of it is read from one snapshot into a file on the server, at the user's turn, and packed and
// written afterwards: a reader who does not read holds up nobody. begin is called before the first
// byte, when all has been read.
func (s *Service) Export(ctx context.Context, user, squad, athlete uuid.UUID, begin func() (io.Writer, error)) error {
	done, err := s.Download(user)
	if err != nil {
		return err
	}
	defer done()
	files, err := newSpool()
	if err != nil {
		return err
	}
	defer func() {
		if err := files.close(); err != nil {
			s.log.Warn("the file of an export is left behind", "err", err)
		}
	}()
	err = s.exports.background(ctx, user, func() error {
		return s.readSquad(ctx, user, squad, func(w *work) error {
			if w.role == record.RoleAnalyst {
				return w.mustCoach()
			}
			rec, err := w.get(ctx, record.KindAthlete, athlete)
			if err != nil {
				return err
			}
			if err := files.reset(); err != nil {
				return err
			}
			return w.export(ctx, files, rec.(*record.Athlete))
		})
	})
	if err == nil {
		err = s.auditExport(ctx, user, squad, athlete)
	}
	if err != nil {
		return err
	}
	out, err := begin()
	if err != nil {
		return err
	}
	background.Run(func() { err = files.pack(out, s.clock()) })
	return err
}

func (w *work) export(ctx context.Context, files *spool, athlete *record.Athlete) error {
	id := athlete.ID
	if err := addJSON(files, "athlete.json", athlete); err != nil {
		return err
	}
	for _, kind := range []record.Kind{
		record.KindMember, record.KindBall, record.KindAssignment, record.KindDrill, record.KindShot,
	} {
		if err := w.exportKind(ctx, files, kind, id); err != nil {
			return err
		}
	}
	if err := w.exportSessions(ctx, files, id); err != nil {
		return err
	}
	if err := w.exportHistory(ctx, files, id); err != nil {
		return err
	}
	return w.exportCSV(ctx, files, id)
}

// exportHistory writes the replaced versions, a page at a time, as one JSON array.
func (w *work) exportHistory(ctx context.Context, files *spool, athlete uuid.UUID) error {
	file := files.add("replaced-versions.json")
	between := "["
	query := db.HistoryOfAthleteParams{SquadID: w.squad, Athlete: athlete, MaxRows: historyPage}
	for more := true; more; {
		history, err := w.HistoryOfAthlete(ctx, query)
		if err != nil {
			return err
		}
		for _, h := range history {
			version, err := json.MarshalIndent(map[string]any{
				"kind":        h.Kind,
				"id":          h.ID,
				"rev":         h.Rev,
				"replaced_at": h.ReplacedAt,
				"record":      h.Body,
			}, "  ", "  ")
			if err != nil {
				return fmt.Errorf("write a replaced version: %w", err)
			}
			if _, err := fmt.Fprintf(file, "%s\n  %s", between, version); err != nil {
				return err
			}
			between, query.AfterRev = ",", h.Rev
		}
		more = len(history) == historyPage
	}
	if between == "[" {
		_, err := io.WriteString(file, "[]\n")
		return err
	}
	_, err := io.WriteString(file, "\n]\n")
	return err
}

// historyPage is how many versions are read at a time. A page looks at the whole history, so it is
// large.
const historyPage = 20_000

func addJSON(files *spool, name string, value any) error {
	file := files.add(name)
	encoder := json.NewEncoder(file)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

func (w *work) exportKind(ctx context.Context, files *spool, kind record.Kind, athlete uuid.UUID) error {
	file := files.add(string(kind) + "s.ndjson")
	encoder := json.NewEncoder(file)
	return w.each(ctx, kind, &athlete, func(r record.Record) error { return encoder.Encode(r) })
}

// exportSessions writes the athlete's own sessions and the shared ones they threw in.
func (w *work) exportSessions(ctx context.Context, files *spool, athlete uuid.UUID) error {
	thrown, err := w.SessionIDsOfShots(ctx, db.SessionIDsOfShotsParams{SquadID: w.squad, AthleteID: athlete})
	if err != nil {
		return err
	}
	file := files.add("sessions.ndjson")
	encoder := json.NewEncoder(file)
	return w.each(ctx, record.KindSession, &athlete, func(r record.Record) error {
		if r.Owner() == nil && !slices.Contains(thrown, r.Key()) {
			return nil
		}
		return encoder.Encode(r)
	})
}

func (w *work) exportCSV(ctx context.Context, files *spool, athlete uuid.UUID) error {
	file := files.add("shots.csv")
	var failed error
	err := shot.WriteCSV(file, func(yield func(shot.Shot) bool) {
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

// spool is a file on the server that an export is read into before it is sent: several files one
// after the other.
type spool struct {
	file   *os.File
	buffer *bufio.Writer
	parts  []spoolPart
}

type spoolPart struct {
	name string
	size int64
}

func newSpool() (*spool, error) {
	file, err := os.CreateTemp("", "laneward-export-")
	if err != nil {
		return nil, fmt.Errorf("make a file for an export: %w", err)
	}
	return &spool{file: file, buffer: bufio.NewWriterSize(file, 64<<10)}, nil
}

// close removes the file.
func (s *spool) close() error { return errors.Join(s.file.Close(), os.Remove(s.file.Name())) }

// reset empties the spool: a transaction may be run again.
func (s *spool) reset() error {
	s.buffer.Reset(s.file)
	s.parts = nil
	if _, err := s.file.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("empty an export: %w", err)
	}
	return s.file.Truncate(0)
}

// add begins the next file.
func (s *spool) add(name string) io.Writer {
	s.parts = append(s.parts, spoolPart{name: name})
	return s
}

// Write writes on at the file begun last.
func (s *spool) Write(data []byte) (int, error) {
	n, err := s.buffer.Write(data)
	s.parts[len(s.parts)-1].size += int64(n)
	return n, err
}

// pack writes the files as a zip.
func (s *spool) pack(out io.Writer, modified time.Time) error {
	if err := s.buffer.Flush(); err != nil {
		return fmt.Errorf("write an export: %w", err)
	}
	archive, at := zip.NewWriter(out), int64(0)
	for _, part := range s.parts {
		file, err := archive.CreateHeader(&zip.FileHeader{Name: part.name, Method: zip.Deflate, Modified: modified})
		if err != nil {
			return fmt.Errorf("pack an export: %w", err)
		}
		if _, err := io.Copy(file, io.NewSectionReader(s.file, at, part.size)); err != nil {
			return fmt.Errorf("pack an export: %w", err)
		}
		at += part.size
	}
	return archive.Close()
}
