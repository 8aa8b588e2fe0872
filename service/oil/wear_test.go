package oil_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"laneward/service/lane"
	"laneward/service/oil"
)

func anyTrack() *rapid.Generator[oil.Track] {
	return rapid.Custom(func(t *rapid.T) oil.Track {
		ft, track := 0.0, oil.Track{}
		for range rapid.IntRange(2, 6).Draw(t, "points") {
			track = append(track, oil.TrackPoint{Ft: ft, X: rapid.Float64Range(-2, 42).Draw(t, "x")})
			ft += rapid.Float64Range(0.5, 20).Draw(t, "step")
		}
		return track
	})
}

func anyWear() *rapid.Generator[oil.Wear] {
	return rapid.Custom(func(t *rapid.T) oil.Wear {
		return oil.Wear{
			StripBoards: rapid.Float64Range(0.1, 5).
				Draw(t, "strip"),
			LiftShare: rapid.Float64Range(0, 1).Draw(t, "lift"),
			KeepShare: rapid.Float64Range(0, 1).Draw(t, "keep"),
			CarryFt:   rapid.Float64Range(0.1, 60).Draw(t, "carry"),
		}
	})
}

func TestWearBalances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		film := anyFilm().Draw(t, "film")
		before := *film
		wear := anyWear().Draw(t, "wear")
		tracks := rapid.SliceOfN(anyTrack(), 0, 5).Draw(t, "tracks")
		worn, err := wear.After(film, tracks)
		if err != nil {
			t.Fatal(err)
		}
		if *film != before {
			t.Fatal("the given film was changed")
		}
		if worn.Passes != len(tracks) {
			t.Fatalf("%d passes of %d tracks", worn.Passes, len(tracks))
		}
		for b := range worn.Film.UL {
			for j, amount := range worn.Film.UL[b] {
				if amount < 0 {
					t.Fatalf("board %d, row %d holds %g uL", b+1, j, amount)
				}
			}
		}
		if missing := film.VolumeUL() - worn.Film.VolumeUL() - worn.OnBallsUL; math.Abs(
			missing,
		) > 1e-9*(1+film.VolumeUL()/1000) {
			t.Fatalf("%g uL got lost", missing)
		}
		if missing := worn.LiftedUL - worn.LaidDownUL - worn.OnBallsUL; math.Abs(
			missing,
		) > 1e-9*(1+worn.LiftedUL/1000) {
			t.Fatalf("lifted %g, laid down %g, on balls %g", worn.LiftedUL, worn.LaidDownUL, worn.OnBallsUL)
		}
	})
}

// A ball that runs up board 10 and lifts a tenth, keeping seven tenths of it, over a film of 10 uL
// a foot up to 30 ft: by hand.
func TestWearByHand(t *testing.T) {
	film := &oil.Film{LengthFt: 30}
	for b := range film.UL {
		for j := range 30 {
			film.UL[b][j] = 10
		}
	}
	wear := oil.Wear{StripBoards: 1, LiftShare: 0.1, KeepShare: 0.7, CarryFt: 8}
	worn, err := wear.After(film, []oil.Track{{{Ft: 0, X: 10}, {Ft: 60, X: 10}}})
	if err != nil {
		t.Fatal(err)
	}
	lay := 1 - math.Exp(-1.0/8)
	first := 10 * 0.9
	second := (10 + 0.3*lay) * 0.9
	for _, c := range []struct {
		name       string
		board, row int
		want       float64
	}{
		{"first foot: a tenth lifted", 10, 0, first},
		{"second foot: some of the first's laid down, then a tenth lifted", 10, 1, second},
		{"beside the strip: untouched", 9, 0, 10},
		{"beside the strip: untouched", 11, 15, 10},
	} {
		if got := worn.Film.UL[c.board-1][c.row]; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %g uL, want %g", c.name, got, c.want)
		}
	}
	if carrydown := worn.Film.UL[9][32]; carrydown <= 0 || carrydown >= worn.Film.UL[9][30] {
		t.Errorf(
			"past the end the film is %g uL at 32 ft and %g at 30: want some, and less further on",
			carrydown,
			worn.Film.UL[9][30],
		)
	}
	if worn.Film.LengthFt != 30 || worn.Film.OiledFt(0) <= 30 {
		t.Errorf(
			"stated length %g, oiled to %g: want 30 and carrydown beyond",
			worn.Film.LengthFt,
			worn.Film.OiledFt(0),
		)
	}
}

// A strip of one board between boards 10 and 11 wears each by its share.
func TestWearSplitsBetweenBoards(t *testing.T) {
	film := &oil.Film{LengthFt: 1}
	film.UL[9][0], film.UL[10][0] = 10, 10
	wear := oil.Wear{StripBoards: 1, LiftShare: 0.5, KeepShare: 1, CarryFt: 8}
	worn, err := wear.After(film, []oil.Track{{{Ft: 0, X: 10.25}, {Ft: 60, X: 10.25}}})
	if err != nil {
		t.Fatal(err)
	}
	if a, b := worn.Film.UL[9][0], worn.Film.UL[10][0]; math.Abs(a-10*(1-0.75*0.5)) > 1e-12 ||
		math.Abs(b-10*(1-0.25*0.5)) > 1e-12 {
		t.Errorf("board 10 keeps %g, board 11 %g: want 6.25 and 8.75", a, b)
	}
}

// What was lifted and laid down is told by the foot, and without carry-down the same is lifted from
// a film that nothing comes back to.
func TestWearByFoot(t *testing.T) {
	film := &oil.Film{LengthFt: 40}
	for b := range film.UL {
		for row := range 40 {
			film.UL[b][row] = 12
		}
	}
	track := []oil.Track{{{Ft: 0, X: 14}, {Ft: 40, X: 9}, {Ft: 60, X: 17}}}
	worn, err := oil.AssumedWear().After(film, track)
	if err != nil {
		t.Fatal(err)
	}
	lifted, laid := 0.0, 0.0
	for row := range oil.Rows {
		lifted += worn.LiftedFootUL[row]
		laid += worn.LaidDownFootUL[row]
		change := worn.Film.FootUL()[row] - film.FootUL()[row]
		if balance := worn.LaidDownFootUL[row] - worn.LiftedFootUL[row]; math.Abs(change-balance) > 1e-9 {
			t.Errorf("foot %d changed by %g uL, laid less lifted is %g", row, change, balance)
		}
	}
	if math.Abs(lifted-worn.LiftedUL) > 1e-9 || math.Abs(laid-worn.LaidDownUL) > 1e-9 {
		t.Errorf("by the foot %g and %g uL, in all %g and %g", lifted, laid, worn.LiftedUL, worn.LaidDownUL)
	}
	if worn.LaidDownFootUL[0] != 0 || worn.LaidDownFootUL[45] <= worn.LiftedFootUL[45] {
		t.Errorf("carry-down %v: want it behind the pattern, and none on the first foot", worn.LaidDownFootUL)
	}
	alone, err := oil.AssumedWear().WithoutCarrydown().After(film, track)
	if err != nil {
		t.Fatal(err)
	}
	if alone.LaidDownUL != 0 || alone.Film.FootUL()[45] != 0 || alone.LiftedUL > worn.LiftedUL {
		t.Errorf("without carry-down %g uL were laid down and %g lifted", alone.LaidDownUL, alone.LiftedUL)
	}
}

// In the gutter a ball touches no oil; at the lane's edge its strip is cut off.
func TestWearAtTheEdge(t *testing.T) {
	film := &oil.Film{LengthFt: 60}
	for b := range film.UL {
		for j := range oil.Rows {
			film.UL[b][j] = 5
		}
	}
	wear := oil.AssumedWear()
	worn, err := wear.After(
		film,
		[]oil.Track{{{Ft: 0, X: 0}, {Ft: 60, X: 0}}, {{Ft: 0, X: lane.MaxBoard}, {Ft: 60, X: lane.MaxBoard}}},
	)
	if err != nil {
		t.Fatal(err)
	}
	boards, fresh := worn.Film.BoardUL(), film.BoardUL()
	if boards[0] != fresh[0] {
		t.Error("a ball in the right gutter wore board 1")
	}
	if boards[38] >= fresh[38] || boards[36] != fresh[36] {
		t.Errorf("a ball at the left edge left board 39 at %g, board 38 at %g", boards[38], boards[37])
	}
}

func TestWearRefuses(t *testing.T) {
	film := &oil.Film{}
	good := oil.Track{{Ft: 0, X: 10}, {Ft: 60, X: 10}}
	for name, c := range map[string]struct {
		wear   oil.Wear
		tracks []oil.Track
		want   []oil.Fault
	}{
		"zero value":   {oil.Wear{}, nil, []oil.Fault{{Column: "strip_boards"}, {Column: "carry_ft"}}},
		"shares":       {oil.Wear{StripBoards: 1, LiftShare: 1.1, KeepShare: -1, CarryFt: 8}, nil, []oil.Fault{{Column: "lift_share"}, {Column: "keep_share"}}},
		"single point": {oil.AssumedWear(), []oil.Track{good, good[:1]}, []oil.Fault{{Row: 2, Column: "track"}}},
		"falling":      {oil.AssumedWear(), []oil.Track{{good[1], good[0]}}, []oil.Fault{{Row: 1, Column: "track"}}},
		"not finite":   {oil.AssumedWear(), []oil.Track{{{Ft: 0, X: math.NaN()}, good[1]}}, []oil.Fault{{Row: 1, Column: "track"}}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := c.wear.After(film, c.tracks)
			checkFaults(t, err, c.want)
		})
	}
}
