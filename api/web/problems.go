package web

import (
	"net/http"

	"laneward/api/problem"
	"laneward/service"
	"laneward/service/record"
)

func problemsPage(v *visit) error {
	return v.show(http.StatusOK, "problems", frame{Title: "Help with errors", Page: problem.Kinds()})
}

// failure is the data of the error page.
type failure struct {
	problem.Kind
	Detail    string
	Faults    []record.Fault
	RequestID string
	SignedOut bool
}

// fail answers a visit that failed. An unexpected failure is logged here, once, and shown as a
// fixed sentence.
func (v *visit) fail(err error) {
	known := service.AsError(err)
	told := failure{
		Kind:      problem.Of(known.Code),
		Detail:    known.Detail,
		Faults:    known.Faults,
		RequestID: v.w.Header().Get("X-Request-Id"),
		SignedOut: known.Code == service.Unauthenticated,
	}
	if known.Code == service.Internal || known.Code == service.Unavailable {
		v.site.log.ErrorContext(v.Context(), "page failed", "request_id", told.RequestID, "err", err)
	}
	setRetryAfter(v.w, known)
	if err := v.show(told.Status, "failure", frame{Title: told.Title, Page: told}); err != nil {
		v.site.log.ErrorContext(v.Context(), "the error page failed", "request_id", told.RequestID, "err", err)
		http.Error(v.w, "Something went wrong on our side.", http.StatusInternalServerError)
	}
}
