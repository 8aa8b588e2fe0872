package service

import (
	"context"
	"sync"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// syncNotedEvery is how often it is written that a device has synced, at most: it is read by people,
// and a write at each pull would be one for every change of the squad and every device.
const syncNotedEvery = 5 * time.Minute

// synced remembers when it was last written that a device has synced.
type synced struct {
	mu    sync.Mutex
	noted map[deviceOf]time.Time
}

// deviceOf is a device in a squad.
type deviceOf struct{ squad, signIn uuid.UUID }

// due reports whether it is to be written now, and takes it as written.
func (s *synced) due(device deviceOf, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now.Sub(s.noted[device]).Abs() < syncNotedEvery {
		return false
	}
	if s.noted == nil || len(s.noted) >= signInsKept {
		s.noted = make(map[deviceOf]time.Time) // each is one write
	}
	s.noted[device] = now
	return true
}

// Synced records that a member's device has everything of a squad up to a revision. It does not wait
// for that: what fails is logged, and written when the device next syncs.
func (s *Service) Synced(who Identity, squad uuid.UUID, rev int64) {
	now := s.clock()
	if !s.synced.due(deviceOf{squad, who.SignIn}, now) {
		return
	}
	s.jobs.Go(func() {
		ctx, cancel := context.WithTimeout(s.running, syncNoteLimit)
		defer cancel()
		err := s.db.InSquad(ctx, squad, func(tx *db.Tx) error {
			return tx.NoteSync(ctx, db.NoteSyncParams{
				SquadID:  squad,
				SignIn:   who.SignIn,
				Rev:      rev,
				SyncedAt: now,
				Before:   now.Add(-syncNotedEvery / 2), // another server may have just written it
			})
		})
		if err != nil && s.running.Err() == nil {
			s.log.Warn("a device's sync was not recorded", "squad", squad, "err", err)
		}
	})
}

const syncNoteLimit = 5 * time.Second

// DeviceSync is when a member's device last had everything of the squad, and up to which revision.
type DeviceSync struct {
	User     uuid.UUID
	Name     string // the member's
	Athlete  *uuid.UUID
	Device   string
	Rev      int64
	SyncedAt time.Time
}

// DeviceSyncs lists the devices that are signed in, by their members' names, each member's latest
// first, and the squad's present revision. Athletes see their own. It is of the last minutes only so
// far as [Service.Synced] writes.
func (s *Service) DeviceSyncs(
	ctx context.Context,
	user, squad uuid.UUID,
	athlete *uuid.UUID,
) (list []DeviceSync, rev int64, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if athlete != nil {
			if _, err := w.get(ctx, record.KindAthlete, *athlete); err != nil {
				return err
			}
		} else {
			athlete = w.athlete
		}
		now, err := w.clock(ctx)
		if err != nil {
			return err
		}
		rev = now.rev
		rows, err := w.Tx.DeviceSyncs(ctx, db.DeviceSyncsParams{SquadID: squad, Athlete: athlete})
		list = make([]DeviceSync, len(rows))
		for i, row := range rows {
			list[i] = DeviceSync{row.UserID, row.Name, row.AthleteID, row.Device, row.Rev, row.SyncedAt}
		}
		return db.Translate(err)
	})
	return list, rev, err
}
