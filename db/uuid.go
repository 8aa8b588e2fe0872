package db

import (
	"context"
	"errors"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
)

// The driver knows uuid.UUID by its text only, which for a set of thousands costs more than all else that is done for it. Here it learns to
// take the 16 bytes as they are.

// registerUUID teaches a new connection.
func registerUUID(_ context.Context, conn *pgx.Conn) error {
	types := conn.TypeMap()
	types.TryWrapEncodePlanFuncs = append([]pgtype.TryWrapEncodePlanFunc{wrapUUIDEncode}, types.TryWrapEncodePlanFuncs...)
	types.TryWrapScanPlanFuncs = append([]pgtype.TryWrapScanPlanFunc{wrapUUIDScan}, types.TryWrapScanPlanFuncs...)
	return nil
}

var errNullUUID = errors.New("NULL where an id was expected")

// uuidBytes is a uuid.UUID as the driver's codec takes and gives it.
type uuidBytes uuid.UUID

// UUIDValue implements [pgtype.UUIDValuer].
func (u uuidBytes) UUIDValue() (pgtype.UUID, error) { return pgtype.UUID{Bytes: u, Valid: true}, nil }

// ScanUUID implements [pgtype.UUIDScanner].
func (u *uuidBytes) ScanUUID(v pgtype.UUID) error {
	if !v.Valid {
		return errNullUUID
	}
	*u = v.Bytes
	return nil
}

func wrapUUIDEncode(value any) (plan pgtype.WrappedEncodePlanNextSetter, next any, ok bool) {
	if id, ok := bytesOf(value); ok {
		return &uuidEncodePlan{}, id, true
	}
	return nil, nil, false
}

func bytesOf(value any) (uuidBytes, bool) {
	switch id := value.(type) {
	case uuid.UUID:
		return uuidBytes(id), true
	case *uuid.UUID:
		if id != nil {
			return uuidBytes(*id), true
		}
	}
	return uuidBytes{}, false
}

type uuidEncodePlan struct{ next pgtype.EncodePlan }

func (p *uuidEncodePlan) SetNext(next pgtype.EncodePlan) { p.next = next }

func (p *uuidEncodePlan) Encode(value any, buf []byte) ([]byte, error) {
	id, ok := bytesOf(value)
	if !ok {
		return nil, nil // NULL
	}
	return p.next.Encode(id, buf)
}

func wrapUUIDScan(target any) (plan pgtype.WrappedScanPlanNextSetter, next any, ok bool) {
	if id, ok := target.(*uuid.UUID); ok {
		return &uuidScanPlan{}, (*uuidBytes)(id), true
	}
	return nil, nil, false
}

type uuidScanPlan struct{ next pgtype.ScanPlan }

func (p *uuidScanPlan) SetNext(next pgtype.ScanPlan) { p.next = next }

func (p *uuidScanPlan) Scan(src []byte, target any) error {
	return p.next.Scan(src, (*uuidBytes)(target.(*uuid.UUID)))
}
