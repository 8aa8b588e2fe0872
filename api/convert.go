package api

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"mime"

	openapitypes "github.com/oapi-codegen/runtime/types"

	"laneward/api/problem"
	"laneward/service"
	"laneward/service/record"
)

// dateOf converts a day to the contract's type; nil for none.
func dateOf(day *record.Day) *openapitypes.Date {
	if day == nil {
		return nil
	}
	return &openapitypes.Date{Time: day.Time}
}

// dayOf converts a day to the service's type; nil for none.
func dayOf(date *openapitypes.Date) *record.Day {
	if date == nil {
		return nil
	}
	return &record.Day{Time: date.Time}
}

// whole is 0 for an absent integer.
func whole(value *int) int {
	if value == nil {
		return 0
	}
	return *value
}

// number is 0 for an absent number.
func number(value *float64) float64 {
	if value == nil {
		return 0
	}
	return *value
}

// text is empty for an absent value.
func text(word *string) string {
	if word == nil {
		return ""
	}
	return *word
}

// pictureWidthPx is how wide a picture is laid out unless the request asks for another width: it
// fits a phone held upright.
const pictureWidthPx = 390

func widthOf(px *int) int {
	if px == nil {
		return pictureWidthPx
	}
	return *px
}

// mediaOf returns the type that a Content-Type names, "" for nonsense, and refuses text that is not
// UTF-8.
func mediaOf(contentType string) (string, error) {
	media, parameters, err := mime.ParseMediaType(contentType)
	if charset, ok := parameters["charset"]; ok && err == nil && charset != "utf-8" && charset != "UTF-8" &&
		charset != "us-ascii" {
		return "", &service.Error{Code: problem.Media, Detail: "a log is UTF-8: save it as such and send it again"}
	}
	return media, nil
}

// logFormat returns a log's format from its Content-Type.
func logFormat(contentType string) (service.LogFormat, error) {
	media, err := mediaOf(contentType)
	if err != nil {
		return "", err
	}
	switch media {
	case "text/csv":
		return service.LogCSV, nil
	case mediaNDJSON:
		return service.LogNDJSON, nil
	case mediaJSON:
		return service.LogJSON, nil
	}
	return "", &service.Error{
		Code:   problem.Media,
		Detail: "set Content-Type to text/csv, application/x-ndjson or application/json: a log comes in one of these",
	}
}

// cursor writes a place in a list as one opaque word.
func cursor(place any) (*string, error) {
	data, err := json.Marshal(place)
	if err != nil {
		return nil, fmt.Errorf("write a cursor: %w", err)
	}
	word := base64.RawURLEncoding.EncodeToString(data)
	return &word, nil
}

// readCursor reads a place that [cursor] wrote; absent leaves it at the beginning.
func readCursor[T any](word *string) (place T, err error) {
	if word == nil {
		return place, nil
	}
	data, err := base64.RawURLEncoding.Strict().DecodeString(*word)
	if err == nil {
		err = json.Unmarshal(data, &place)
	}
	if err != nil {
		return place, &service.Error{
			Code:   service.Invalid,
			Detail: "the cursor is not one of ours: send the next of the page before, or none to begin anew",
		}
	}
	return place, nil
}

const defaultLimit = 100

func limitOf(limit *int) int {
	if limit == nil {
		return defaultLimit
	}
	return *limit
}
