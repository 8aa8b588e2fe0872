package drill

import (
	"fmt"
	"math"
	"strings"
)

// reading puts the score in words for a coach: what was done as asked, what the verdict rests on,
// and which strikes came from elsewhere.
func (a *Adherence) reading(d Drill) string {
	switch {
	case a.Shots == 0:
		return "No shots yet."
	case a.Judged == 0:
		return fmt.Sprintf("%s not measured, so nothing can be said yet: record %s.",
			wereWord(a.Shots), d.needs())
	}
	sentences := []string{a.shareWords(d), a.verdictWords()}
	if words := a.strikeWords(d); words != "" {
		sentences = append(sentences, words)
	}
	return strings.Join(sentences, ". ") + "."
}

func wereWord(shots int) string {
	if shots == 1 {
		return "The shot was"
	}
	return fmt.Sprintf("The %d shots were", shots)
}

// needs names what has to be recorded for the drill's rules to be judged.
func (d Drill) needs() string {
	var parts []string
	seen := make(map[string]bool)
	for _, r := range d.Rules {
		part := ""
		switch q, _ := r.subject().quantity(); {
		case r.Measure == Leave:
			part = "the pins left"
		case r.Measure == Ball:
			part = "the ball"
		case r.subject() == Board:
			part = "the board " + r.place()
		default:
			part = "the " + q.name
		}
		if !seen[part] {
			seen[part] = true
			parts = append(parts, part)
		}
	}
	if len(parts) == 1 {
		return parts[0]
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// shareWords says what was counted, the share with the error of measurement allowed for where that
// makes a difference, and the bounds where shots were not measured.
func (a *Adherence) shareWords(d Drill) string {
	measured := "shot"
	if a.Unknown > 0 {
		measured = "measured shot"
	}
	words := fmt.Sprintf("Did as asked on %d of %s", a.Kept, count(a.Judged, measured))
	plain := percent(*a.KeptShare.Share)
	switch told := a.TrueShare.Share; {
	case told == nil:
		words += fmt.Sprintf(" (%s asked)", percent(d.PassShare))
	case percent(*told) == plain:
		words += fmt.Sprintf(" (%s; %s asked)", plain, percent(d.PassShare))
	case a.Unknown > 0 && len(d.Rules) > 1:
		words += fmt.Sprintf(" (%s rule by rule; %s asked)", percent(*told), percent(d.PassShare))
	default:
		words += fmt.Sprintf(" (%s, or %s allowing for measurement error; %s asked)",
			plain, percent(*told), percent(d.PassShare))
	}
	if a.Unknown > 0 {
		words += "; " + a.BoundsWords()
	}
	if a.GutterBalls > 0 {
		words += fmt.Sprintf("; %d in the gutter", a.GutterBalls)
	}
	return words
}

// BoundsWords says what the shots that were not measured leave open: "67 to 100 %: 10 of 30 not
// measured"; "" when all were measured.
func (a Adherence) BoundsWords() string {
	if a.Unknown == 0 {
		return ""
	}
	bounds := a.TrueShare.Bounds
	return fmt.Sprintf("%d to %s: %d of %d not measured",
		int(math.Round(100*bounds.Low)), percent(bounds.High), a.Unknown, a.Shots)
}

// verdictWords says what the verdict tested, and what it did not.
func (a *Adherence) verdictWords() string {
	pass, fail := percent(a.Evidence.PassShare), percent(a.Evidence.FailShare)
	words := ""
	switch {
	case a.Verdict == Met:
		words = fmt.Sprintf("The drill is met: nearer %s than %s", pass, fail)
	case a.Verdict == NotMet:
		words = fmt.Sprintf("The drill is not met: nearer %s than %s", fail, pass)
	case a.Unknown > 0 && a.RepsLeft == 0:
		return "Too few of them were measured to call it"
	case a.RepsLeft == 0:
		return "Too close to call"
	default:
		return "Too few shots to call it"
	}
	other := a.Evidence.FailShare
	if a.Verdict == NotMet {
		other = a.Evidence.PassShare
	}
	if a.TrueShare.Interval.Contains(other) {
		words += fmt.Sprintf(". The verdict weighs these two shares only: the 95 %% interval, %d to %s, holds both",
			int(math.Round(100*a.TrueShare.Interval.Low)), percent(a.TrueShare.Interval.High))
	}
	return words
}

// strikeWords separates strikes on shots that kept the drill from those on shots that did not.
func (a *Adherence) strikeWords(d Drill) string {
	kept, broken := a.Strike.First, a.Strike.Second
	on, off := "done as asked", "not done as asked"
	if len(d.Rules) == 1 && d.Rules[0].Measure == Board {
		on, off = "on line", "off line"
	}
	switch {
	case kept.Of == 0 && broken.Of == 0:
		return ""
	case broken.Of == 0:
		return fmt.Sprintf("%d of the %d %s struck", kept.Count, kept.Of, on)
	case kept.Of == 0:
		return fmt.Sprintf("%d of the %d %s struck", broken.Count, broken.Of, off) + credit(broken.Count)
	}
	numbers := fmt.Sprintf("(%d of %d against %d of %d)", kept.Count, kept.Of, broken.Count, broken.Of)
	switch a.Strike.Sign() {
	case 1:
		return "Shots " + on + " struck more often " + numbers
	case -1:
		return "Shots " + on + " struck less often " + numbers + ": look at the line again"
	}
	return fmt.Sprintf("%d of %d %s struck and %d of %d %s: too close to call",
		kept.Count, kept.Of, on, broken.Count, broken.Of, off) + credit(broken.Count)
}

// credit warns of strikes that did not come from doing as asked.
func credit(strikes int) string {
	switch strikes {
	case 0:
		return ""
	case 1:
		return "; don't credit the line for that strike"
	}
	return fmt.Sprintf("; don't credit the line for those %d strikes", strikes)
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func percent(share float64) string { return fmt.Sprintf("%d %%", int(math.Round(share*100))) }
