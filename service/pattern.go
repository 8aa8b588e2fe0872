package service

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/google/uuid"

	"laneward/db"
	"laneward/service/lane"
	"laneward/service/oil"
)

// PatternRecord is an oil pattern: its length, and what is known of how the oil lies, as a load
// table or as a film map.
type PatternRecord struct {
	Head
	Name     string     `json:"name"`
	LengthFt float64    `json:"length_ft"`
	Loads    []oil.Load `json:"loads,omitempty"`
	// Film is microlitres, 39 boards from the right gutter by 60 feet; given directly, and never
	// together with Loads.
	Film [][]float64 `json:"film,omitempty"`
	Note string      `json:"note,omitempty"`
}

// Kind is [KindPattern].
func (*PatternRecord) Kind() Kind { return KindPattern }

// Owner is nobody: it is the squad's.
func (*PatternRecord) Owner() *uuid.UUID { return nil }

// Parents is none.
func (*PatternRecord) Parents() []Ref { return nil }

// lengthToleranceFt is how far the stated length may lie from the load table's: patterns are named
// by the whole foot.
const lengthToleranceFt = 1.0

// Faults lists what is wrong with the record, each fault of the load table by its row.
func (p *PatternRecord) Faults() []Fault {
	var f faults
	f.name(p.Name)
	f.note(p.Note)
	f.add(!(p.LengthFt >= 1 && p.LengthFt <= lane.LengthFt), "/length_ft", "range", "is outside 1 to 60 feet")
	f.add(len(p.Loads) > 0 && len(p.Film) > 0, "/film", "mismatch", "give the load table or the film map, not both")
	if len(p.Loads) > 0 {
		p.loadFaults(&f)
	}
	if len(p.Film) > 0 {
		p.filmFaults(&f)
	}
	return f
}

func (p *PatternRecord) loadFaults(f *faults) {
	table := oil.Table{Name: p.Name, Loads: p.Loads}
	var found oil.Faults
	if err := table.Validate(); errors.As(err, &found) {
		for _, fault := range found {
			pointer := "/loads"
			if fault.Row > 0 {
				pointer = fmt.Sprintf("/loads/%d/%s", fault.Row-1, fault.Column)
			}
			f.add(true, pointer, "load", "%s", fault.Reason)
		}
		return
	}
	length := table.LengthFt()
	f.add(
		math.Abs(length-p.LengthFt) > lengthToleranceFt,
		"/length_ft",
		"mismatch",
		"is %g ft, but the load table lays oil to %g ft: correct one of them",
		p.LengthFt,
		length,
	)
}

func (p *PatternRecord) filmFaults(f *faults) {
	if len(p.Film) != lane.Boards {
		f.add(true, "/film", "shape", "has %d boards: a film map has %d", len(p.Film), lane.Boards)
		return
	}
	for board, cells := range p.Film {
		f.add(
			len(cells) != int(lane.LengthFt),
			fmt.Sprintf("/film/%d", board),
			"shape",
			"has %d feet: a film map has 60",
			len(cells),
		)
		for foot, volume := range cells {
			f.add(
				!(volume >= 0 && volume < oil.MaxULPerBoard),
				fmt.Sprintf("/film/%d/%d", board, foot),
				"range",
				"%g microlitres cannot lie there",
				volume,
			)
		}
	}
}

var patternStore = store{
	fresh: func() Record { return &PatternRecord{} },
	byIDs: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID, _ *uuid.UUID) ([]stored, error) {
		found, err := tx.PatternsByIDs(ctx, db.PatternsByIDsParams{SquadID: squad, IDs: ids})
		return rows(found, err, patternOf)
	},
	after: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, in window, limit int32, _ *uuid.UUID) ([]stored, error) {
		found, err := tx.PatternsAfter(
			ctx,
			db.PatternsAfterParams{SquadID: squad, After: in.after, Upto: in.upto, MaxRows: limit},
		)
		return rows(found, err, patternOf)
	},
	put: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, records []stored) error {
		return finish(tx.PutPattern(ctx, params(squad, records, patternParams)).Exec)
	},
	remove: func(ctx context.Context, tx *db.Tx, squad uuid.UUID, ids []uuid.UUID) error {
		return tx.RemovePatterns(ctx, db.RemovePatternsParams{SquadID: squad, IDs: ids})
	},
}

func patternOf(row db.Pattern) (Record, []byte, error) {
	loads, err := column[[]oil.Load](row.Loads, "load table")
	if err != nil {
		return nil, nil, err
	}
	film, err := column[[][]float64](row.Film, "film map")
	if err != nil {
		return nil, nil, err
	}
	return &PatternRecord{
		Head:     Head{row.ID, row.Rev},
		Name:     row.Name,
		LengthFt: row.LengthFt,
		Loads:    loads,
		Film:     film,
		Note:     row.Note,
	}, row.Hash, nil
}

func patternParams(squad uuid.UUID, p *PatternRecord, hash []byte) db.PutPatternParams {
	row := db.PutPatternParams{
		SquadID:  squad,
		ID:       p.ID,
		Rev:      p.Rev,
		Hash:     hash,
		Name:     p.Name,
		LengthFt: p.LengthFt,
		Loads:    jsonColumn(p.Loads),
		Note:     p.Note,
	}
	if p.Film != nil {
		row.Film = jsonColumn(p.Film)
	}
	return row
}
