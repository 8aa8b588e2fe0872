package service

import (
	"context"

	"github.com/google/uuid"

	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/record"
)

// PlanLines ranks the lines of one athlete with one ball on one pattern. It ends early when ctx
// does; progress may be nil.
func (s *Service) PlanLines(
	ctx context.Context,
	user, squad uuid.UUID,
	query advice.Query,
	progress advice.Progress,
) (*advice.Plan, error) {
	return compute(ctx, s, user, squad, query, func(ctx context.Context, p *advice.Planner) (*advice.Plan, error) {
		return p.Plan(ctx, progress)
	})
}

// MapMisses computes what becomes of every aim of a grid, typical delivery and scattered ones, and
// the best lines to mark on it.
func (s *Service) MapMisses(
	ctx context.Context,
	user, squad uuid.UUID,
	query advice.Query,
	over advice.GridQuery,
	progress advice.Progress,
) (*advice.MissMap, error) {
	grid, err := over.Grid()
	if err != nil {
		return nil, err
	}
	if query.Draws == 0 {
		query.Draws = advice.MapDraws
	}
	if err := advice.CheckMapPaths(grid, query.Draws); err != nil {
		return nil, err
	}
	return compute(ctx, s, user, squad, query, func(ctx context.Context, p *advice.Planner) (*advice.MissMap, error) {
		return p.Map(ctx, grid, progress)
	})
}

// StudyLine works one line out, whether or not it is a good one.
func (s *Service) StudyLine(
	ctx context.Context,
	user, squad uuid.UUID,
	query advice.Query,
	aim line.Aim,
) (*advice.Study, error) {
	return compute(ctx, s, user, squad, query, func(ctx context.Context, p *advice.Planner) (*advice.Study, error) {
		return p.Study(ctx, aim)
	})
}

// compute reads a query's subject and computes with it. Nothing is held of the database meanwhile.
func compute[Result any](
	ctx context.Context,
	s *Service,
	user, squad uuid.UUID,
	query advice.Query,
	do func(ctx context.Context, p *advice.Planner) (Result, error),
) (result Result, err error) {
	var planner *advice.Planner
	err = s.readSquad(ctx, user, squad, func(w *work) error {
		planner, err = w.planner(ctx, query)
		return err
	})
	if err != nil {
		return result, err
	}
	err = s.planners.run(ctx, user, func(ctx context.Context) error {
		result, err = do(ctx, planner)
		return err
	})
	return result, err
}

// CompareLines plans a query and the same query but for what differs: one athlete on two patterns,
// two athletes or two balls on one, a fresh film and a worn one.
func (s *Service) CompareLines(
	ctx context.Context,
	user, squad uuid.UUID,
	query advice.Query,
	against advice.Against,
	progress advice.Progress,
) (comparison *advice.Comparison, err error) {
	if wrong := against.Faults(); len(wrong) > 0 {
		return nil, InvalidError(wrong)
	}
	other, differs := against.Apply(query)
	if len(differs) == 0 {
		return nil, InvalidError(
			[]record.Fault{
				{
					Pointer: "/against",
					Code:    "required",
					Detail:  "name what differs: another athlete, ball or pattern, or another wear of the film",
				},
			},
		)
	}
	var a, b *advice.Planner
	err = s.readSquad(ctx, user, squad, func(w *work) (err error) {
		if a, err = w.planner(ctx, query); err != nil {
			return err
		}
		b, err = w.planner(ctx, other)
		return err
	})
	if err != nil {
		return nil, err
	}
	err = s.planners.run(ctx, user, func(ctx context.Context) error {
		comparison, err = advice.Compare(ctx, a, b, differs, progress)
		return err
	})
	return comparison, err
}
