package client

import (
	"encoding/binary"
	"encoding/json"
	"strconv"

	"github.com/google/uuid"
)

// Digest summarises which records a copy holds in which versions: how many, and the sum modulo 2^64
// of their parts. Copies that hold the same have the same digest; copies that differ have different
// ones, but for one chance in 2^64.
type Digest struct {
	Count int64
	Sum   uint64
}

// Add adds a record.
func (d *Digest) Add(id uuid.UUID, rev int64) {
	d.Count++
	d.Sum += recordPart(id, rev)
}

// recordPart is one record's part of a digest, as the contract's Digest describes it.
func recordPart(id uuid.UUID, rev int64) uint64 {
	part := mix(binary.BigEndian.Uint64(id[:8]))
	part = mix(part ^ binary.BigEndian.Uint64(id[8:]))
	return mix(part ^ uint64(rev)) //nolint:gosec // a revision is never negative
}

// mix is one step of SplitMix64 from a given state (Steele, Lea, Flood: Fast splittable
// pseudorandom number generators, 2014; the constants are from memory).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// check reports whether a page holds what its digest says.
func (d Digest) check(items []Item) error {
	var own Digest
	for _, item := range items {
		if len(item.Record) > 0 {
			own.Add(item.ID, item.Rev)
		}
	}
	if own != d {
		return fail(
			NotOurs,
			"a page is not what its digest says (%d records, %d told): it was damaged on the way, or the server is of another version",
			own.Count,
			d.Count,
		)
	}
	return nil
}

// digestJSON has the sum as text: a JSON number is exact to 2^53 only.
type digestJSON struct {
	Count int64  `json:"count"`
	Sum   string `json:"sum"`
}

// MarshalJSON writes the contract's Digest.
func (d Digest) MarshalJSON() ([]byte, error) {
	return json.Marshal(digestJSON{d.Count, strconv.FormatUint(d.Sum, 10)})
}

// UnmarshalJSON reads the contract's Digest.
func (d *Digest) UnmarshalJSON(text []byte) error {
	var told digestJSON
	if err := json.Unmarshal(text, &told); err != nil {
		return err
	}
	sum, err := strconv.ParseUint(told.Sum, 10, 64)
	if err != nil {
		return err
	}
	*d = Digest{told.Count, sum}
	return nil
}
