package db

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
)

// The driver knows uuid.UUID by its text only, and what may be NULL by reflection, which for
// thousands of rows costs more than everything else. Here it learns to take the bytes as they are.

// registerTypes teaches a new connection.
func registerTypes(_ context.Context, conn *pgx.Conn) error {
	id := &pgtype.Type{Name: "uuid", OID: pgtype.UUIDOID, Codec: uuidCodec{}}
	conn.TypeMap().RegisterType(id)
	conn.TypeMap().
		RegisterType(&pgtype.Type{Name: "_uuid", OID: pgtype.UUIDArrayOID, Codec: &pgtype.ArrayCodec{ElementType: id}})
	conn.TypeMap().RegisterType(&pgtype.Type{Name: "float8", OID: pgtype.Float8OID, Codec: floatCodec{}})
	return nil
}

// uuidCodec is the driver's codec, but for uuid.UUID in binary.
type uuidCodec struct{ pgtype.UUIDCodec }

func (c uuidCodec) PlanEncode(m *pgtype.Map, oid uint32, format int16, value any) pgtype.EncodePlan {
	if format == pgtype.BinaryFormatCode {
		switch value.(type) {
		case uuid.UUID:
			return encodeUUID{}
		case *uuid.UUID:
			return encodeUUIDOrNull{}
		}
	}
	return c.UUIDCodec.PlanEncode(m, oid, format, value)
}

func (c uuidCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	if format == pgtype.BinaryFormatCode {
		switch target.(type) {
		case *uuid.UUID:
			return scanUUID{}
		case **uuid.UUID:
			return scanUUIDOrNull{}
		}
	}
	return c.UUIDCodec.PlanScan(m, oid, format, target)
}

type encodeUUID struct{}

func (encodeUUID) Encode(value any, buf []byte) ([]byte, error) {
	id := value.(uuid.UUID)
	return append(buf, id[:]...), nil
}

type encodeUUIDOrNull struct{}

func (encodeUUIDOrNull) Encode(value any, buf []byte) ([]byte, error) {
	id := value.(*uuid.UUID)
	if id == nil {
		return nil, nil
	}
	return append(buf, id[:]...), nil
}

var errNullUUID = errors.New("NULL where an id was expected")

type scanUUID struct{}

func (scanUUID) Scan(src []byte, target any) error {
	switch len(src) {
	case 16:
		copy(target.(*uuid.UUID)[:], src)
		return nil
	case 0:
		return errNullUUID
	}
	return fmt.Errorf("%d bytes where an id was expected", len(src))
}

type scanUUIDOrNull struct{}

func (scanUUIDOrNull) Scan(src []byte, target any) error {
	into := target.(**uuid.UUID)
	if *into = nil; src == nil {
		return nil
	}
	*into = new(uuid.UUID)
	return scanUUID{}.Scan(src, *into)
}

// floatCodec is the driver's codec, but for a number in binary that may be NULL.
type floatCodec struct{ pgtype.Float8Codec }

func (c floatCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	if _, ok := target.(**float64); ok && format == pgtype.BinaryFormatCode {
		return scanFloatOrNull{}
	}
	return c.Float8Codec.PlanScan(m, oid, format, target)
}

type scanFloatOrNull struct{}

func (scanFloatOrNull) Scan(src []byte, target any) error {
	into := target.(**float64)
	switch len(src) {
	case 0:
		*into = nil
	case 8:
		number := math.Float64frombits(binary.BigEndian.Uint64(src))
		*into = &number
	default:
		return fmt.Errorf("%d bytes where a number was expected", len(src))
	}
	return nil
}
