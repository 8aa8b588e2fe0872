package logger

import "net/http"

// WithoutModule serves the page as a program does that was built without the module.
func WithoutModule() http.Handler { return handler(false) }
