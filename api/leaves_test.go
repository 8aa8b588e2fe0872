package api_test

import (
	"net/http"
	"strings"
	"testing"

	"laneward/openapi"
)

// What was left is counted here from the log itself, and must be the same by athlete, by drill and
// in all.
func TestLeaves(t *testing.T) {
	t.Parallel()
	p := newPractice(t)
	log := shotLog(t, "invented-practice.csv")
	p.upload(t, p.coach, "text/csv", log)
	leaves := func(query, token string) (found openapi.Leaves) {
		t.Helper()
		p.do(t, call{method: "GET", path: p.path("leaves?" + query), token: token}).want(http.StatusOK).into(&found)
		return found
	}
	strikes, shots := leftByHand(t, log, "Onaquill Ferrowby")
	if strikes == 0 || strikes == shots {
		t.Fatal("the log is of no use here")
	}
	own := leaves("athlete_id="+logRight, p.coach.token)
	if own.Shots != shots || own.Strikes != strikes || own.Kept != nil || len(own.Groups) != 7 {
		t.Errorf("%d strikes of %d, kept %v; want %d of %d", own.Strikes, own.Shots, own.Kept, strikes, shots)
	}
	byDrill := leaves("drill_id="+logDrill+"&athlete_id="+logRight, p.coach.token)
	if byDrill.Shots != shots || byDrill.Strikes != strikes || *byDrill.Broken == 0 || *byDrill.Kept+*byDrill.Broken > shots {
		t.Errorf("by the drill %+v", byDrill)
	}
	for i, row := range byDrill.Groups {
		if row.Shots != own.Groups[i].Shots || *row.Kept+*row.Broken > row.Shots {
			t.Errorf("by the drill %+v, by the athlete %+v", row, own.Groups[i])
		}
	}
	otherStrikes, otherShots := leftByHand(t, log, "Jorrit Sandlepath")
	all := leaves("session_id="+logSession, p.coach.token)
	if all.Shots != shots+otherShots || all.Strikes != strikes+otherStrikes {
		t.Errorf("the session has %d strikes of %d", all.Strikes, all.Shots)
	}
	if mine := leaves("session_id="+logSession, p.right.token); mine.Shots != shots {
		t.Errorf("the athlete sees %d shots of the session, want their own %d", mine.Shots, shots)
	}
	if none := leaves("session_id="+logSession+"&lane=77", p.coach.token); none.Shots != 0 {
		t.Errorf("%d shots on a lane that nobody threw on", none.Shots)
	}
	p.do(t, call{method: "GET", path: p.path("leaves"), token: p.coach.token}).want(http.StatusBadRequest)
}

// leftByHand counts an athlete's strikes and shots with their pins recorded.
func leftByHand(t *testing.T, log []byte, name string) (strikes, shots int) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(strings.TrimPrefix(string(log), "\xef\xbb\xbf")), "\n")
	column := map[string]int{}
	for i, field := range strings.Split(strings.TrimSpace(lines[0]), ";") {
		column[field] = i
	}
	for _, line := range lines[1:] {
		fields := strings.Split(strings.TrimRight(line, "\r"), ";")
		if fields[column["athlete"]] != name {
			continue
		}
		switch fields[column["standing"]] {
		case "":
		case "strike", "X", "0":
			strikes++
			shots++
		default:
			shots++
		}
	}
	return strikes, shots
}
