package remote

import (
	"context"
	"encoding/json"
	"fmt"

	"laneward/cmd/laneward/offline"
	"laneward/cmd/laneward/terminal"
	"laneward/openapi"
	"laneward/openapi/client"
	"laneward/service/advice"
	"laneward/service/oil"
)

type filmCommand struct {
	squadFlags
	offline.PictureFlags
	wornFlags
	Pattern string `arg:"" help:"The oil pattern, by name or id: one with a load table or a film map."`
	Athlete string `placeholder:"NAME" help:"Worn by this athlete's shots only."`
	Ball    string `placeholder:"NAME" help:"Worn by shots with this ball only, by its name in the athlete's arsenal or by id."`
}

func (filmCommand) Help() string {
	return `The oil on the lane: volume by board and by foot, ratios and classes of a stored pattern, fresh or as shots have left it. How a ball wears oil is an assumption, listed below.

Examples:

    laneward film "Long flat" --png film.png
    laneward film "Long flat" --worn-by 2026-11-20
    laneward film "Long flat" --worn-shots 30 --athlete Rhea`
}

// Run prints a pattern's film.
func (c *filmCommand) Run(ctx context.Context, env terminal.Environment) error {
	conn, err := c.enter(ctx, env)
	if err != nil {
		return err
	}
	pattern, err := conn.find(ctx, client.Pattern, c.Pattern)
	if err != nil {
		return err
	}
	asked, err := c.params(ctx, conn)
	if err != nil {
		return err
	}
	answer, err := conn.Film(ctx, conn.squad, pattern.ID, asked)
	if err != nil {
		return err
	}
	var report advice.FilmReport
	if err := json.Unmarshal(answer.JSON, &report); err != nil {
		return fmt.Errorf("read the film: %w", err)
	}
	if conn.JSON {
		err = conn.PrintJSON(answer.JSON)
	} else {
		err = offline.PrintFilm(conn.Console, report)
	}
	if err != nil {
		return err
	}
	film := &oil.Film{Name: report.Name, LengthFt: report.LengthFt}
	for board := range min(len(report.FilmUL), len(film.UL)) {
		copy(film.UL[board][:], report.FilmUL[board])
	}
	return c.Draw(conn.Console, advice.FilmLane(film, report, c.WidthPx).Scene)
}

func (c *filmCommand) params(ctx context.Context, conn *squadConnection) (asked openapi.GetFilmParams, err error) {
	worn, err := c.worn(ctx, conn)
	if err != nil {
		return asked, err
	}
	if worn != nil {
		asked.SessionID, asked.Shots = worn.SessionID, worn.Shots
	}
	if asked.AthleteID, err = conn.findID(ctx, client.Athlete, c.Athlete); err != nil || c.Ball == "" {
		return asked, err
	}
	if asked.AthleteID == nil {
		return asked, terminal.Usage("add --athlete NAME: whose ball it is")
	}
	asked.BallID, err = conn.ballOf(ctx, *asked.AthleteID, c.Ball)
	return asked, err
}
