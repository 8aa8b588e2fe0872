package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"mime"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"laneward/service/advice"
	"laneward/service/line"
	"laneward/service/picture"
)

// The media types of what is computed.
const (
	mediaJSON = "application/json"
	mediaSVG  = "image/svg+xml"
	mediaPNG  = "image/png"
)

// accepted returns the first of the media types that an Accept header names; the first of all when
// it names none of them.
func accepted(header string, offers ...string) string {
	for part := range strings.SplitSeq(header, ",") {
		media, parameters, err := mime.ParseMediaType(part)
		if err != nil || parameters["q"] == "0" {
			continue
		}
		for _, offer := range offers {
			if media == offer {
				return offer
			}
		}
	}
	return offers[0]
}

// result is what a computation answers with: its JSON is the contract's, and it can be drawn.
type result interface {
	Picture(widthPx int) (picture.Scene, error)
}

// computedReply answers with a computation in the form the reader asked for.
type computedReply struct {
	write func(w http.ResponseWriter) error
}

// computed answers with what compute returns: as JSON, as lines with its progress, or as a picture.
func computed[R result](
	ctx context.Context,
	widthPx *int,
	compute func(context.Context, advice.Progress) (R, error),
) (computedReply, error) {
	media := accepted(clientOf(ctx).accept, mediaJSON, mediaNDJSON, mediaSVG, mediaPNG)
	if media == mediaNDJSON {
		return computedReply{func(w http.ResponseWriter) error {
			return (&progressWriter{w: w}).run(
				ctx,
				func(ctx context.Context, progress advice.Progress) (any, error) { return compute(ctx, progress) },
			)
		}}, nil
	}
	value, err := compute(ctx, nil)
	if err != nil {
		return computedReply{}, err
	}
	if media == mediaJSON {
		return computedReply{func(w http.ResponseWriter) error { return writeJSON(w, http.StatusOK, value) }}, nil
	}
	scene, err := value.Picture(widthOf(widthPx))
	return computedReply{sceneReply{scene, media}.write}, err
}

func (r computedReply) VisitPlanLinesResponse(w http.ResponseWriter) error    { return r.write(w) }
func (r computedReply) VisitCompareLinesResponse(w http.ResponseWriter) error { return r.write(w) }
func (r computedReply) VisitMapMissesResponse(w http.ResponseWriter) error    { return r.write(w) }
func (r computedReply) VisitStudyLineResponse(w http.ResponseWriter) error    { return r.write(w) }

// sceneReply answers with a picture.
type sceneReply struct {
	scene picture.Scene
	media string
}

func (r sceneReply) write(w http.ResponseWriter) error {
	body := r.scene.SVG()
	if r.media == mediaPNG {
		var raster bytes.Buffer
		if err := r.scene.WritePNG(&raster, advice.PNGScale); err != nil {
			return fmt.Errorf("draw a picture: %w", err)
		}
		body = raster.Bytes()
	}
	w.Header().Set("Content-Type", r.media)
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(body)
	return err
}

func (r sceneReply) VisitGetFilmPictureResponse(w http.ResponseWriter) error { return r.write(w) }

// progressWriter writes NDJSON: lines with the progress while something is computed, and a last one
// with the result or the problem. What fails before the first line is answered as any other
// failure.
type progressWriter struct {
	w       http.ResponseWriter
	buffer  *bufio.Writer
	started bool
}

// waiting is how much progress a slow reader may lag behind; more is dropped, so that no reader
// holds up the computation.
const waiting = 64

func (p *progressWriter) run(
	asked context.Context,
	compute func(context.Context, advice.Progress) (any, error),
) error {
	ctx, cancel := context.WithCancel(asked)
	defer cancel()
	updates, written := make(chan line.Progress, waiting), make(chan error, 1)
	go func() {
		var failed error
		for update := range updates {
			if failed == nil {
				if failed = p.line("progress", update); failed != nil {
					cancel() // the client has gone
				}
			}
		}
		written <- failed
	}()
	value, err := compute(ctx, func(update line.Progress) {
		select {
		case updates <- update:
		default:
		}
	})
	close(updates)
	failed := <-written
	switch {
	case p.started && asked.Err() != nil:
		return nil // no one reads the rest
	case failed != nil:
		panic(http.ErrAbortHandler) // the status is sent; only breaking off can signal the failure
	case err != nil && !p.started:
		return err
	case err != nil:
		err = p.line("problem", problemOf(err, p.w.Header().Get(echo.HeaderXRequestID)))
	default:
		err = p.line("result", value)
	}
	if err != nil && p.started {
		panic(http.ErrAbortHandler)
	}
	return err
}

// line writes one line, an object with one member, and sends it on its way.
func (p *progressWriter) line(name string, value any) error {
	text, err := json.Marshal(map[string]any{name: value})
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	if !p.started {
		p.w.Header().Set("Content-Type", mediaNDJSON)
		p.w.WriteHeader(http.StatusOK)
		p.buffer, p.started = bufio.NewWriterSize(p.w, 64<<10), true
	}
	if _, err := p.buffer.Write(append(text, '\n')); err != nil {
		return err
	}
	if err := p.buffer.Flush(); err != nil {
		return err
	}
	return flush(p.w)
}
