package client

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
)

// Answer is the server's answer, decoded and as received.
type Answer[T any] struct {
	Value T
	JSON  []byte
}

// answerOf takes a decoded success, which is nil when the status is a success that the contract
// does not list.
func answerOf[T any](value *T, text []byte, response *http.Response) (Answer[T], error) {
	if value == nil {
		return Answer[T]{}, fail(
			NotOurs,
			"the server answered %s where the contract has another: it may be of another version",
			response.Status,
		)
	}
	return Answer[T]{Value: *value, JSON: text}, nil
}

// read decodes the JSON of a plain answer.
func read(into any) func(*http.Response, error) error {
	return func(response *http.Response, err error) error {
		if err != nil {
			return err
		}
		body, err := io.ReadAll(response.Body)
		if err == nil {
			err = json.Unmarshal(body, into)
		}
		if err != nil {
			return fmt.Errorf("read the answer: %w", err)
		}
		return nil
	}
}
