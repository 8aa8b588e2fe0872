package shot_test

import (
	"slices"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"laneward/service/shot"
)

func placeOf(s shot.Shot) (uuid.UUID, int, uuid.UUID) { return s.AthleteID, s.Order, s.ID }

func TestNumbers(t *testing.T) {
	t.Parallel()
	one := func(athlete byte, order int, id byte) shot.Shot {
		return shot.Shot{AthleteID: uuid.UUID{athlete}, Order: order, ID: uuid.UUID{id}}
	}
	shots := []shot.Shot{one(1, 4, 9), one(1, 5, 8), one(1, 4, 7), one(2, 4, 6), one(1, 4, 8)}
	if got, want := shot.Numbers(shots, placeOf), []string{"4c", "5", "4", "4", "4b"}; !slices.Equal(got, want) {
		t.Errorf("the numbers are %q, want %q", got, want)
	}
}

// TestNumbersAreOne: no two shots of an athlete are called alike, and in whatever order a device lists
// them each is called the same.
func TestNumbersAreOne(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		shots := make([]shot.Shot, rapid.IntRange(1, 60).Draw(t, "shots"))
		for i := range shots {
			shots[i] = shot.Shot{ID: uuid.UUID{1, byte(i)}, Order: rapid.IntRange(1, 2).Draw(t, "order")}
		}
		calls := make(map[string]uuid.UUID)
		for i, number := range shot.Numbers(shots, placeOf) {
			if _, taken := calls[number]; taken {
				t.Fatalf("two shots are called %s", number)
			}
			calls[number] = shots[i].ID
		}
		slices.Reverse(shots)
		for i, number := range shot.Numbers(shots, placeOf) {
			if calls[number] != shots[i].ID {
				t.Fatalf("%s is another shot in another order", number)
			}
		}
	})
}
