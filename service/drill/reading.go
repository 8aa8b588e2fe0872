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
		return fmt.Sprintf(
			"None of the %s recorded what the drill looks at, so nothing can be said yet.",
			count(a.Shots, "shot"),
		)
	}
	return fmt.Sprintf(
		"Did as asked on %d of %s (%s, asked for %s), %s%s.",
		a.Kept,
		count(a.Judged, "judged shot"),
		percent(*a.KeptShare.Share),
		percent(d.PassShare),
		a.verdictWords(),
		a.strikeWords(d),
	)
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
	where := "when a rule was broken"
	if len(d.Rules) == 1 && d.Rules[0].Measure == Board {
		where = "off the corridor"
	}
	words := fmt.Sprintf(
		"; %d of %d done as asked struck and %d of %d %s",
		kept.Count,
		kept.Of,
		broken.Count,
		broken.Of,
		where,
	)
	if kept.Of == 0 {
		words = fmt.Sprintf("; %d of %d struck %s", broken.Count, broken.Of, where)
	}
	switch sign := a.Strike.Sign(); {
	case sign < 0:
		return words + ", so what was asked strikes less often: look at the line again"
	case sign > 0:
		words += ", so doing as asked strikes more often"
	case kept.Of > 0:
		words += ", which does not tell the two apart"
	}
	switch broken.Count {
	case 0:
		return words
	case 1:
		return words + ": do not count that one as the line working"
	}
	return words + fmt.Sprintf(": do not count those %d as the line working", broken.Count)
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func percent(share float64) string { return fmt.Sprintf("%d %%", int(math.Round(share*100))) }
