package service

import (
	"context"
	"time"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/record"
)

// Action is what an entry of a squad's audit log says was done.
type Action string

// The actions that are logged.
const (
	ActionJoined         Action = "joined"
	ActionRoleChanged    Action = "role-changed"
	ActionRemoved        Action = "member-removed"
	ActionExported       Action = "exported"
	ActionErased         Action = "erased"
	ActionResetCode      Action = "reset-code"
	ActionPasswordReset  Action = "password-reset"
	ActionAccountDeleted Action = "account-deleted"
)

// AuditEntry is one line of a squad's audit log. By is who did it, the zero id for whoever runs the
// server; Subject is the user or the athlete it was done to. Names are those of today, "" for who is
// not in the squad any more: the log itself keeps none.
type AuditEntry struct {
	ID                  uuid.UUID
	At                  time.Time
	Action              Action
	By, Subject         uuid.UUID
	ByName, SubjectName string
	Detail              string
}

// audit writes a line of the squad's log in the transaction of what it tells of.
func (w *work) audit(ctx context.Context, action Action, subject uuid.UUID, detail string) error {
	return w.AddAudit(ctx, db.AddAuditParams{
		SquadID: w.squad,
		ID:      newID(),
		At:      w.now,
		Action:  string(action),
		ByUser:  w.user,
		Subject: subject,
		Detail:  detail,
	})
}

// auditAccount writes a line about a user into the log of each of their squads, after it has
// happened: an account is not a squad's, so no one transaction has both. What cannot be written is
// in the server's log.
func (s *Service) auditAccount(
	ctx context.Context,
	squads []db.SquadsOfRow,
	by, subject uuid.UUID,
	action Action,
	detail string,
) {
	for _, squad := range squads {
		err := s.db.InSquad(ctx, squad.SquadID, func(tx *db.Tx) error {
			w := &work{Tx: tx, member: member{user: by, squad: squad.SquadID}, now: s.clock()}
			return w.audit(ctx, action, subject, detail)
		})
		if err != nil {
			s.log.ErrorContext(
				ctx,
				"not in the audit log",
				"squad",
				squad.SquadID,
				"action",
				action,
				"subject",
				subject,
				"err",
				err,
			)
		}
	}
}

// Audit returns a page of a squad's audit log, the newest first; before is the id to go on from, the
// zero one to begin. next is zero on the last page.
func (s *Service) Audit(
	ctx context.Context,
	user, squad, before uuid.UUID,
	limit int,
) (list []AuditEntry, next uuid.UUID, err error) {
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		if err := w.mustCoach(); err != nil {
			return err
		}
		from := &before
		if before == uuid.Nil {
			from = nil
		}
		rows, err := w.AuditBefore(ctx, db.AuditBeforeParams{
			SquadID: squad,
			Before:  from,
			MaxRows: int32(limit + 1), //nolint:gosec // at most 1001
		})
		if err != nil {
			return err
		}
		list, next = nil, uuid.Nil
		if len(rows) > limit {
			rows = rows[:limit]
			next = rows[limit-1].ID
		}
		for _, row := range rows {
			list = append(list, AuditEntry{
				ID: row.ID, At: row.At, Action: Action(row.Action), By: row.ByUser, Subject: row.Subject,
				ByName: row.ByName, SubjectName: row.SubjectName, Detail: row.Detail,
			})
		}
		return nil
	})
	return list, next, err
}

func roleChange(before, after record.Role) string { return string(before) + " to " + string(after) }
