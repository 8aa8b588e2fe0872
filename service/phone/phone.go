// Package phone answers what the logger asks while the network is off, by the very packages that
// the server judges and plans with. Requests and answers are JSON; cmd/laneward-phone compiles it
// for the browser.
package phone

import (
	"encoding/json"
	"fmt"
)

// Engine answers a page's calls. It keeps the practices that the page has opened, and serves one
// call at a time.
type Engine struct {
	practices map[int]*practice
	opened    int
}

// New returns an engine with nothing open.
func New() *Engine { return &Engine{practices: make(map[int]*practice)} }

// Call answers one call with JSON. A call that is not known, or cannot be read, is an error.
func (e *Engine) Call(name string, request []byte) ([]byte, error) {
	answer, err := e.answer(name, request)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return json.Marshal(answer)
}

func (e *Engine) answer(name string, request []byte) (any, error) {
	switch name {
	case "sentences":
		return answered(request, sentences)
	case "open":
		return answered(request, e.open)
	case "close":
		return answered(request, e.close)
	case "replace":
		return answered(request, e.replace)
	case "remove":
		return answered(request, e.remove)
	case "look":
		return answered(request, e.look)
	}
	return nil, fmt.Errorf("there is no such call")
}

// answered reads a request and has it answered.
func answered[Request, Answer any](request []byte, by func(Request) (Answer, error)) (any, error) {
	var r Request
	if err := json.Unmarshal(request, &r); err != nil {
		return nil, err
	}
	return by(r)
}
