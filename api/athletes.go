package api

import (
	"context"
	"fmt"
	"io"
	"net/http"

	"laneward/openapi"
)

func (h *handlers) EraseAthlete(
	ctx context.Context,
	r openapi.EraseAthleteRequestObject,
) (openapi.EraseAthleteResponseObject, error) {
	n, err := h.service.Erase(ctx, userOf(ctx), r.SquadID, r.AthleteID, r.Body.Confirm)
	return openapi.EraseAthlete200JSONResponse{Records: n}, err
}

func (h *handlers) ExportAthlete(
	ctx context.Context,
	r openapi.ExportAthleteRequestObject,
) (openapi.ExportAthleteResponseObject, error) {
	return zipReply(func(begin func() (io.Writer, error)) error {
		return h.service.Export(ctx, userOf(ctx), r.SquadID, r.AthleteID, begin)
	}), nil
}

// zipReply answers with a zip that is written as it is read. A failure before the first byte is
// answered as a problem; one after it breaks the connection off.
type zipReply func(begin func() (io.Writer, error)) error

func (r zipReply) VisitExportAthleteResponse(w http.ResponseWriter) error {
	begun := false
	err := r(func() (io.Writer, error) {
		begun = true
		w.Header().Set("Content-Type", "application/zip")
		w.Header().Set("Content-Disposition", `attachment; filename="athlete.zip"`)
		w.WriteHeader(http.StatusOK)
		return w, nil
	})
	if err != nil && begun {
		panic(http.ErrAbortHandler) // the status is sent; only breaking off can signal the failure
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	return nil
}
