package drill

import "fmt"

// sureEnough is the chance from which the reading's error is not mentioned.
const sureEnough = 0.95

// Doubt says how likely it is that a shot was kept, where the error of a reading leaves it in doubt;
// "" where it does not. A shot that was read outside may well have been kept: the reading may be
// off by more, and the athlete's other shots lie inside.
func (s ShotJudgement) Doubt() string {
	kept := s.ProbabilityKept
	switch {
	case s.Verdict == Unknown, s.Verdict == Kept && kept > sureEnough, s.Verdict == Broken && kept < 1-sureEnough:
		return ""
	case s.Verdict == Broken && kept >= 0.5:
		return fmt.Sprintf("yet %.0f %% likely kept: the reading may be off by more than that", 100*kept)
	}
	return fmt.Sprintf("%.0f %% likely kept, allowing for the reading's error", 100*kept)
}

// ChanceNote says what the chance that a shot was kept allows for, where one that was read outside
// may well have been kept, or the other way round; "" where there is none.
func ChanceNote(judgements []JudgementReport) string {
	for _, one := range judgements {
		kept, broken := one.Verdict == Kept, one.Verdict == Broken
		if kept && one.ProbabilityKept < 0.5 || broken && one.ProbabilityKept >= 0.5 {
			return "The verdict takes each reading as it is. The chance kept allows for the reading's error and for where the " +
				"athlete's other shots went: one read just past the edge may well have been kept."
		}
	}
	return ""
}
