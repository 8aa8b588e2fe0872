package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
)

// Progress is how far the server is with a computation.
type Progress struct {
	Stage string `json:"stage"`
	Done  int    `json:"done"`
	Total int    `json:"total"`
	// Lines are the lines found so far, ranked, once there are any.
	Lines []openapi.PlannedLine `json:"lines"`
}

// Plan asks for the ranked lines of an athlete on a pattern. progress, when not nil, is called with
// how far the server is.
func (c *Client) Plan(
	ctx context.Context,
	squad uuid.UUID,
	request openapi.PlanRequest,
	progress func(Progress),
) (Answer[openapi.Plan], error) {
	return computed[openapi.Plan](
		ctx,
		progress,
		func(ctx context.Context, accept openapi.RequestEditorFn) (*http.Response, error) {
			return c.api.PlanLines(ctx, squad, &openapi.PlanLinesParams{}, request, accept)
		},
	)
}

// Compare asks for the lines of two athletes, balls or patterns side by side.
func (c *Client) Compare(
	ctx context.Context,
	squad uuid.UUID,
	request openapi.ComparisonRequest,
	progress func(Progress),
) (Answer[openapi.LineComparison], error) {
	return computed[openapi.LineComparison](
		ctx,
		progress,
		func(ctx context.Context, accept openapi.RequestEditorFn) (*http.Response, error) {
			return c.api.CompareLines(ctx, squad, &openapi.CompareLinesParams{}, request, accept)
		},
	)
}

// MissMap asks what becomes of every aim.
func (c *Client) MissMap(
	ctx context.Context,
	squad uuid.UUID,
	request openapi.MissMapRequest,
	progress func(Progress),
) (Answer[openapi.MissMap], error) {
	return computed[openapi.MissMap](
		ctx,
		progress,
		func(ctx context.Context, accept openapi.RequestEditorFn) (*http.Response, error) {
			return c.api.MapMisses(ctx, squad, &openapi.MapMissesParams{}, request, accept)
		},
	)
}

// Study asks what one line and its misses do.
func (c *Client) Study(
	ctx context.Context,
	squad uuid.UUID,
	request openapi.PathsRequest,
) (Answer[openapi.LineStudy], error) {
	answer, err := c.api.StudyLineWithResponse(
		resend(ctx),
		squad,
		&openapi.StudyLineParams{},
		request,
		accept("application/json"),
	)
	if err != nil {
		return Answer[openapi.LineStudy]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// AssignLine stores the drill that keeps an athlete on a line, and assigns it. Without an id the
// request gets one here, so that sending it again after a lost answer stores both once.
func (c *Client) AssignLine(
	ctx context.Context,
	squad uuid.UUID,
	request openapi.LineDrillRequest,
) (Answer[openapi.LineDrill], error) {
	if request.ID == nil {
		id, err := uuid.NewV7()
		if err != nil {
			return Answer[openapi.LineDrill]{}, fmt.Errorf("make an id: %w", err)
		}
		request.ID = &id
	}
	answer, err := c.api.AssignLineWithResponse(resend(ctx), squad, request)
	if err != nil {
		return Answer[openapi.LineDrill]{}, err
	}
	stored := answer.JSON201
	if stored == nil {
		stored = answer.JSON200
	}
	return answerOf(stored, answer.Body, answer.HTTPResponse)
}

// Film asks for the film of a pattern, worn as the parameters say.
func (c *Client) Film(
	ctx context.Context,
	squad, pattern uuid.UUID,
	worn openapi.GetFilmParams,
) (Answer[openapi.FilmReport], error) {
	answer, err := c.api.GetFilmWithResponse(ctx, squad, pattern, &worn)
	if err != nil {
		return Answer[openapi.FilmReport]{}, err
	}
	return answerOf(answer.JSON200, answer.Body, answer.HTTPResponse)
}

// The media types of a picture.
const (
	SVG = "image/svg+xml"
	PNG = "image/png"
)

// Drawing asks for the picture of what a request computes, an [openapi.PlanRequest],
// [openapi.ComparisonRequest], [openapi.MissMapRequest] or [openapi.PathsRequest], as SVG or PNG.
func (c *Client) Drawing(ctx context.Context, squad uuid.UUID, request any, media string, widthPx int) ([]byte, error) {
	var response *http.Response
	var err error
	ctx, as := resend(ctx), accept(media)
	switch r := request.(type) {
	case openapi.PlanRequest:
		response, err = c.api.PlanLines(ctx, squad, &openapi.PlanLinesParams{WidthPx: &widthPx}, r, as)
	case openapi.ComparisonRequest:
		response, err = c.api.CompareLines(ctx, squad, &openapi.CompareLinesParams{WidthPx: &widthPx}, r, as)
	case openapi.MissMapRequest:
		response, err = c.api.MapMisses(ctx, squad, &openapi.MapMissesParams{WidthPx: &widthPx}, r, as)
	case openapi.PathsRequest:
		response, err = c.api.StudyLine(ctx, squad, &openapi.StudyLineParams{WidthPx: &widthPx}, r, as)
	default:
		return nil, fmt.Errorf("a %T cannot be drawn", request)
	}
	if err != nil {
		return nil, err
	}
	defer response.Body.Close() //nolint:errcheck // it has been read already
	return io.ReadAll(response.Body)
}

func accept(media string) openapi.RequestEditorFn {
	return func(_ context.Context, request *http.Request) error {
		request.Header.Set("Accept", media)
		return nil
	}
}

// computed asks for a computation as lines with its progress, and returns the result of the last
// one.
func computed[T any](
	ctx context.Context,
	progress func(Progress),
	ask func(context.Context, openapi.RequestEditorFn) (*http.Response, error),
) (Answer[T], error) {
	heard := &progressReader{progress: progress}
	response, err := ask(listen(resend(ctx), heard), accept(string(NDJSON)))
	if err != nil {
		return Answer[T]{}, err
	}
	defer response.Body.Close() //nolint:errcheck // it has been read already
	text, err := io.ReadAll(response.Body)
	if err != nil {
		return Answer[T]{}, fmt.Errorf("read the answer: %w", err)
	}
	lines := bytes.Split(bytes.TrimSpace(text), []byte("\n"))
	var last struct {
		Result  json.RawMessage `json:"result"`
		Problem json.RawMessage `json:"problem"`
	}
	if err := json.Unmarshal(lines[len(lines)-1], &last); err != nil {
		return Answer[T]{}, fail(NotOurs, "the answer ends in the middle of a line: try again")
	}
	if last.Problem != nil {
		return Answer[T]{}, problemIn(last.Problem)
	}
	if last.Result == nil {
		return Answer[T]{}, fail(Unreachable, "the answer ended before the result: try again")
	}
	answer := Answer[T]{JSON: last.Result}
	if err := json.Unmarshal(last.Result, &answer.Value); err != nil {
		return Answer[T]{}, fmt.Errorf("read the answer: %w", err)
	}
	return answer, nil
}

// problemIn reads a problem that came after the status was sent.
func problemIn(text []byte) error {
	var problem openapi.Problem
	if err := json.Unmarshal(text, &problem); err != nil {
		return fmt.Errorf("read the problem: %w", err)
	}
	response := &http.Response{StatusCode: problem.Status, Header: http.Header{}}
	response.Header.Set("Content-Type", "application/problem+json")
	response.Header.Set("X-Request-Id", problem.RequestID)
	return problemOf(response, text)
}

// progressReader is written the answer as it comes, and reports the progress of each line.
type progressReader struct {
	progress func(Progress)
	unread   []byte
}

func (p *progressReader) Write(text []byte) (int, error) {
	if p.progress == nil {
		return len(text), nil
	}
	p.unread = append(p.unread, text...)
	for {
		line, rest, whole := bytes.Cut(p.unread, []byte("\n"))
		if !whole {
			return len(text), nil
		}
		p.unread = rest
		var update struct {
			Progress *Progress `json:"progress"`
		}
		if json.Unmarshal(line, &update) == nil && update.Progress != nil {
			p.progress(*update.Progress)
		}
	}
}
