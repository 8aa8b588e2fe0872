package record

import "laneward/service/shot"

// Schema is the version of the records on the wire: it grows when kinds or fields are added, and
// when what a change has to say of its basis does. OldestSchema is the oldest that is still
// understood; fields is the one that fields were added with last.
const (
	Schema       = 3
	OldestSchema = 1
	fields       = 2
)

// WithNewer returns the record with those fields that came after a wire schema as another version
// of it has them, or without them when other is nil: a client of that schema is not sent them,
// and what it sends leaves them as they are. Neither record is changed.
func WithNewer(schema int, rec, other Record) Record {
	if schema >= fields {
		return rec
	}
	switch r := rec.(type) {
	case *Squad:
		is, was := *r, Squad{}
		if other != nil {
			was = *other.(*Squad)
		}
		is.TimeZone = was.TimeZone
		return &is
	case *Drill:
		is, was := *r, Drill{}
		if other != nil {
			was = *other.(*Drill)
		}
		is.Model = was.Model
		return &is
	case *Shot:
		is, was := *r, Shot{}
		if other != nil {
			was = *other.(*Shot)
		}
		shot.CopySince(schema, &is.Shot, &was.Shot)
		return &is
	}
	return rec
}
