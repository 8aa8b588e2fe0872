package web

import (
	"net/http"
	"slices"

	"laneward/service"
	"laneward/service/record"
)

// Problem is one kind of failure: how HTTP tells it, what it means and how to mend it. The API's
// answers name it by the address of the page that explains it, /problems#code.
type Problem struct {
	Code    service.Code
	Status  int
	Title   string
	Meaning string
	Mend    []string
}

// Problems lists every kind of failure, in the order of their status.
func Problems() []Problem { return slices.Clone(problems) }

var problems = []Problem{
	{
		service.Invalid,
		http.StatusBadRequest,
		"The request needs mending",
		"Something in what was sent cannot be used: a value out of its range, a field that is missing or not known, a sentence that is no rule.",
		[]string{
			"Read errors: each has a pointer to the place, such as /speed_mph, and a detail that says what to write there.",
			"Mend all of them, and send the request again. Nothing of it was stored.",
		},
	},
	{
		service.Unauthenticated, http.StatusUnauthorized, "Sign in first",
		"The request does not say who asks, or says it with a token that has run out or is not valid.",
		[]string{
			"Trade the refresh token for a new access token, or sign in again.",
			"What a device has not sent yet stays on it, and can be sent after that.",
		},
	},
	{
		service.Forbidden,
		http.StatusForbidden,
		"Not for your role",
		"You are in the squad, but your role in it may not do this. An athlete keeps the own records, an analyst reads, a coach runs the squad.",
		[]string{"Ask a coach of the squad to do it, or to change your role."},
	},
	{
		service.NotFound, http.StatusNotFound, "Not found",
		"There is nothing at this address, or it is not for you: what belongs to another squad does not exist for you.",
		[]string{
			"Check the address and its ids; lists show what there is.",
			"If you have just joined a squad, sign in with the address you joined with.",
		},
	},
	{
		"method-not-allowed", http.StatusMethodNotAllowed, "No such method here",
		"The address exists, and does not take this method.",
		[]string{"The header Allow lists the methods it takes."},
	},
	{
		service.Conflict,
		http.StatusConflict,
		"It does not fit what is stored",
		"What was sent contradicts what is there: another record under the same id, an address that has signed up already, a record that others still refer to.",
		[]string{
			"Read the detail: it names what is in the way.",
			"To change a record that exists, read it, and send your change with the revision it has now.",
		},
	},
	{
		service.Gone,
		http.StatusGone,
		"No longer there",
		"What was asked for was there once and has been put away, such as a place in a list that is too old to go on from.",
		[]string{"Start again from the beginning: the detail says where."},
	},
	{
		service.Stale, http.StatusPreconditionFailed, "Changed since you read it",
		"Somebody else has changed the record since you read it. Nothing was overwritten.",
		[]string{
			"Read it again and look at what has changed.",
			"Make your change on top of that, and send it with the ETag of the new reading in If-Match.",
		},
	},
	{
		service.TooLarge,
		http.StatusRequestEntityTooLarge,
		"Too large",
		"The body is larger than this address takes, as it came or when unpacked.",
		[]string{
			"Send it in parts. A practice log may be cut between any two rows: sending rows again stores them once.",
		},
	},
	{
		"media-type",
		http.StatusUnsupportedMediaType,
		"A format we do not read",
		"The Content-Type or the Content-Encoding is none that this address reads.",
		[]string{
			"Send JSON as application/json. A practice log may be text/csv, application/x-ndjson or application/json; gzip is fine.",
		},
	},
	{
		service.TooOld,
		http.StatusUpgradeRequired,
		"Your client is too old",
		"The program that asks is older than what this server can still talk to. What it has not sent yet stays with it.",
		[]string{
			"Bring the program up to date, or load the page anew, then sync again: what was kept back is sent then.",
		},
	},
	{
		service.NeedsRevision, http.StatusPreconditionRequired, "Say which version you change",
		"A change has to say which version of the record it is made on, so that nobody's work is overwritten unseen.",
		[]string{"Read the record, and send its ETag in the header If-Match with your change."},
	},
	{
		service.TooMany, http.StatusTooManyRequests, "Too many tries",
		"There were too many tries in a short time, most often wrong passwords.",
		[]string{"Wait as many seconds as the header Retry-After says, then try again."},
	},
	{
		service.Internal,
		http.StatusInternalServerError,
		"Our fault",
		"Something went wrong here that nobody foresaw. It is not about what you sent.",
		[]string{
			"Try again. If it stays, tell whoever runs this server the request id: it finds the failure in the log.",
		},
	},
	{
		service.Unavailable, http.StatusServiceUnavailable, "Not just now",
		"The database does not answer at the moment. Nothing was half stored.",
		[]string{"Wait as many seconds as the header Retry-After says, then send the same again: it is stored once."},
	},
}

// problemOf is the kind of failure a code names; one that is not listed is our fault.
func problemOf(code service.Code) Problem {
	for _, p := range problems {
		if p.Code == code {
			return p
		}
	}
	return problemOf(service.Internal)
}

func statusOf(code service.Code) int { return problemOf(code).Status }

func problemsPage(v *visit) error {
	return v.show(http.StatusOK, "problems", frame{Title: "Help with errors", Page: problems})
}

// failure is what the error page looks at.
type failure struct {
	Problem
	Detail    string
	Faults    []record.Fault
	RequestID string
	SignedOut bool
}

// fail answers a visit that failed. What nobody foresaw is logged here, once, and told as a fixed
// sentence.
func (v *visit) fail(err error) {
	known := service.AsError(err)
	told := failure{
		Problem: problemOf(
			known.Code,
		),
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
