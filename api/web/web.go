// Package web serves the pages a person looks at, from the same use cases as the API.
package web

import (
	"log/slog"
	"net/http"

	"laneward/service"
)

// New returns the pages as one handler, mounted at the root below everything of the contract.
func New(svc *service.Service, log *slog.Logger) (http.Handler, error) {
	return http.NotFoundHandler(), nil
}
