package drill

import (
	"fmt"
	"math"
)

// reading puts the score in one sentence: what was done as asked, and which strikes were not.
func (a *Adherence) reading(d Drill) string {
	if a.Judged == 0 {
		if a.Shots == 0 {
			return "No shots yet."
		}
		return fmt.Sprintf("None of the %s recorded what the drill looks at, so nothing can be said yet.", count(a.Shots, "shot"))
	}
	return fmt.Sprintf("Did as asked on %d of %s (%s of them, asked for %s), %s%s.",
		a.Kept, count(a.Judged, "judged shot"), percent(*a.KeptShare.Share), percent(d.PassShare), a.verdictWords(), a.strikeWords(d))
}

func (a *Adherence) verdictWords() string {
	switch a.Verdict {
	case Met:
		return "so the drill is met"
	case NotMet:
		return "so the drill is not met"
	}
	return "too few shots to call it"
}

// strikeWords tells strikes that came by doing as asked from those that did not.
func (a *Adherence) strikeWords(d Drill) string {
	kept, broken := a.Strike.First, a.Strike.Second
	switch {
	case kept.Of == 0 && broken.Of == 0:
		return ""
	case broken.Of == 0:
		return fmt.Sprintf("; %d of those %d struck", kept.Count, kept.Of)
	}
	where := "shots that broke the rules"
	if len(d.Rules) == 1 {
		where = "shots that broke the rule"
		if d.Rules[0].Measure == Board {
			where = "off the corridor"
		}
	}
	words := fmt.Sprintf("; %s came from %s (%d of %d such shots) against %d of %d done as asked",
		count(broken.Count, "strike"), where, broken.Count, broken.Of, kept.Count, kept.Of)
	switch {
	case kept.Of == 0:
		return fmt.Sprintf("; %s came from %s (%d of %d such shots), and none can be set against them",
			count(broken.Count, "strike"), where, broken.Count, broken.Of)
	case a.Strike.Sign() > 0:
		return words + ", so doing as asked strikes more often"
	case a.Strike.Sign() < 0:
		return words + ", so on these lanes what was asked strikes less often: look at the line again"
	case broken.Count > 0:
		return words + ", too few to tell the two apart: do not count them as the line working"
	}
	return words + ", too few to tell the two apart"
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func percent(share float64) string { return fmt.Sprintf("%d %%", int(math.Round(share*100))) }
