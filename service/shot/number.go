package shot

import (
	"bytes"
	"slices"
	"strconv"

	"github.com/google/uuid"
)

// Numbers returns what each of a session's shots is called, in their order: an athlete's shot by its
// place, such as 4. Two devices without a network may give one place to several shots: the first by
// id, which is the one logged first, is 4, and the others are 4b, 4c and so on, the same on each
// device. Of each shot it takes the athlete, the place and the id.
func Numbers[S any](shots []S, of func(S) (athlete uuid.UUID, order int, id uuid.UUID)) []string {
	type place struct {
		athlete uuid.UUID
		order   int
	}
	ids := make(map[place][]uuid.UUID)
	for _, s := range shots {
		athlete, order, id := of(s)
		ids[place{athlete, order}] = append(ids[place{athlete, order}], id)
	}
	numbers := make([]string, len(shots))
	for i, s := range shots {
		athlete, order, id := of(s)
		before := 0
		for _, other := range ids[place{athlete, order}] {
			if bytes.Compare(other[:], id[:]) < 0 {
				before++
			}
		}
		numbers[i] = Number(order, before)
	}
	return numbers
}

// Number is what a shot is called before which others have the same place, see [Numbers].
func Number(order, before int) string {
	if before == 0 {
		return strconv.Itoa(order)
	}
	return strconv.Itoa(order) + letters(before)
}

// letters counts b, c ... z, aa, ab and so on, from 1; 0 would be a.
func letters(n int) string {
	var backwards []byte
	for ; n >= 0; n = n/26 - 1 {
		backwards = append(backwards, byte('a'+n%26))
	}
	slices.Reverse(backwards)
	return string(backwards)
}
