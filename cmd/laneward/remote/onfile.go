package remote

import (
	"context"
	"errors"

	"laneward/cmd/laneward/lines"
	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/picture"
	"laneward/service/record"
)

// console is how a command on lines talks, in the format asked for. It fails when flags go together
// that do not.
func (f lineFlags) console(env terminal.Environment) (terminal.Console, error) {
	out := f.squadFlags.console(env)
	if err := f.Check(&out); err != nil {
		return out, err
	}
	switch {
	case f.Film == "" && f.DeliveryFlags != (lines.DeliveryFlags{}):
		return out, terminal.Usage(
			"--side, --mph, --rpm and the like go with --film: a stored athlete bowls as their record says, which laneward edit athlete changes",
		)
	case f.Film != "" && f.WornBy != "":
		return out, terminal.Usage(
			"--worn-by names a stored session: with --film, say how many shots with --worn-shots",
		)
	}
	return out, nil
}

// enter connects to the squad, in the format asked for.
func (f lineFlags) enter(ctx context.Context, env terminal.Environment) (*squadConnection, error) {
	out, err := f.console(env)
	if err != nil {
		return nil, err
	}
	conn, err := f.squadFlags.enter(ctx, env)
	if err != nil {
		return nil, err
	}
	conn.Console = out
	return conn, nil
}

// following shows a person how far the server is.
func (c *squadConnection) following() (progress func(client.Progress), done func()) {
	show, done := lines.Following(c.Console)
	return func(p client.Progress) { show(p.Stage, p.Done, p.Total) }, done
}

// fileSubject is what a plan on a film in a file is for.
func (f lineFlags) fileSubject(env terminal.Environment) (lines.Subject, error) {
	film, err := offline.ReadFilm(env, f.Film, "")
	if err != nil {
		return lines.Subject{}, err
	}
	subject := lines.Subject{
		Film: film,
		Delivery: lines.Delivery{
			DeliveryFlags: f.DeliveryFlags,
			OwnFlags:      f.OwnFlags,
			Name:          f.Athlete,
			Ball:          f.Ball,
		},
		Query: advice.Query{Friction: f.friction(), Pocket: f.pocket()},
	}
	if f.WornShots != 0 {
		subject.Query.Worn = &advice.WornBy{Shots: f.WornShots}
	}
	return subject, nil
}

// refused turns what the planner refuses into what a server fails with for the same.
func refused(err error) error {
	var faults record.Faults
	var failure *advice.Error
	switch {
	case errors.As(err, &faults):
		refusal := &client.Error{Code: client.Invalid, Detail: faults.Error()}
		for _, fault := range faults {
			refusal.Faults = append(refusal.Faults, openapi.Fault{Pointer: fault.Pointer, Detail: fault.Detail})
		}
		return refusal
	case errors.As(err, &failure) && failure.Conflict:
		return &client.Error{Code: client.Conflict, Detail: failure.Detail}
	}
	return err
}

// drawable is what the planner answers.
type drawable interface {
	Picture(widthPx int) (picture.Scene, error)
}

// answerHere computes an answer on this computer, prints and draws it.
func answerHere[Answer any, Drawable interface {
	*Answer
	drawable
}](
	out terminal.Console,
	format terminal.FormatFlag,
	pictures offline.PictureFlags,
	printer lines.Printer[Answer],
	compute func(progress advice.Progress) (Drawable, error),
) error {
	show, done := lines.Following(out)
	answer, err := compute(func(p line.Progress) { show(p.Stage, p.Done, p.Total) })
	done()
	if err != nil {
		return err
	}
	if err := printer.Print(out, format, answer); err != nil {
		return err
	}
	return pictures.Draw(out, func() (picture.Scene, error) { return answer.Picture(pictures.WidthPx) })
}

func (c *planCommand) onFile(ctx context.Context, env terminal.Environment) error {
	out, err := c.console(env)
	if err != nil {
		return err
	}
	if c.Assign != 0 {
		return terminal.Usage("--assign stores a drill on a server: name a stored pattern with --pattern, not --film")
	}
	subject, err := c.fileSubject(env)
	if err != nil {
		return err
	}
	subject.Query.Lines, subject.Query.Draws = or(c.Lines, 0), or(c.Draws, 0)
	planner, err := subject.Planner()
	if err != nil {
		return inFlags(refused(err), *c)
	}
	err = answerHere(
		out,
		c.FormatFlag,
		c.PictureFlags,
		lines.Plan,
		func(progress advice.Progress) (*advice.Plan, error) {
			return planner.Plan(ctx, progress)
		},
	)
	return inFlags(refused(err), *c)
}

func (c *lineCommand) onFile(ctx context.Context, env terminal.Environment) error {
	out, err := c.console(env)
	if err != nil {
		return err
	}
	subject, err := c.fileSubject(env)
	if err != nil {
		return err
	}
	planner, err := subject.Planner()
	if err != nil {
		return inFlags(refused(err), *c)
	}
	aim := line.Aim{LaydownBoard: c.Laydown, LaunchAngleDeg: c.Launch}
	err = answerHere(out, c.FormatFlag, c.PictureFlags, lines.Study, func(advice.Progress) (*advice.Study, error) {
		return planner.Study(ctx, aim)
	})
	return inFlags(refused(err), *c)
}

func (c *missmapCommand) onFile(ctx context.Context, env terminal.Environment) error {
	out, err := c.console(env)
	if err != nil {
		return err
	}
	subject, err := c.fileSubject(env)
	if err != nil {
		return err
	}
	over := advice.GridQuery{LaydownStep: c.LaydownStep, AngleStep: c.AngleStep}
	if c.Laydowns != nil {
		over.LaydownFrom, over.LaydownTo = &c.Laydowns.low, &c.Laydowns.high
	}
	if c.Angles != nil {
		over.AngleFrom, over.AngleTo = &c.Angles.low, &c.Angles.high
	}
	grid, err := over.Grid()
	if err != nil {
		return inFlags(refused(err), *c)
	}
	subject.Query.Draws = or(c.Draws, advice.MapDraws)
	planner, err := subject.Planner()
	if err != nil {
		return inFlags(refused(err), *c)
	}
	err = answerHere(
		out,
		c.FormatFlag,
		c.PictureFlags,
		lines.MissMap,
		func(progress advice.Progress) (*advice.MissMap, error) { return planner.Map(ctx, grid, progress) },
	)
	return inFlags(refused(err), *c)
}

func (c *compareCommand) onFiles(ctx context.Context, env terminal.Environment) error {
	out, err := c.console(env)
	if err != nil {
		return err
	}
	if c.AgainstPattern != "" || c.AgainstWornBy != "" {
		return terminal.Usage(
			"--against-pattern and --against-worn-by name stored records: with --film, write --against-film",
		)
	}
	a, err := c.fileSubject(env)
	if err != nil {
		return err
	}
	a.Query.Lines = or(c.Lines, 0)
	b := a
	other := lines.Delivery{
		DeliveryFlags: c.Other.DeliveryFlags,
		OwnFlags:      c.Other.OwnFlags,
		Name:          c.AgainstAthlete,
		Ball:          c.AgainstBall,
	}
	b.Delivery = other.Over(a.Delivery)
	if c.AgainstFilm != "" {
		if b.Film, err = offline.ReadFilm(env, c.AgainstFilm, ""); err != nil {
			return err
		}
	}
	if c.AgainstFresh {
		b.Query.Worn = nil
	}
	planA, planB, differs, err := a.Planners(b)
	if err != nil {
		return inFlags(refused(err), *c)
	}
	err = answerHere(
		out,
		c.FormatFlag,
		c.PictureFlags,
		lines.Comparison,
		func(progress advice.Progress) (*advice.Comparison, error) {
			return advice.Compare(ctx, planA, planB, differs, progress)
		},
	)
	return inFlags(refused(err), *c)
}
