package drill

import "testing"

func TestDoubt(t *testing.T) {
	for name, c := range map[string]struct {
		verdict Verdict
		kept    float64
		want    string
	}{
		"surely kept":        {Kept, 0.97, ""},
		"kept, in doubt":     {Kept, 0.79, "79 % likely kept, allowing for the reading's error"},
		"read inside":        {Kept, 0.4, "40 % likely kept, allowing for the reading's error"},
		"surely broken":      {Broken, 0.02, ""},
		"broken, in doubt":   {Broken, 0.31, "31 % likely kept, allowing for the reading's error"},
		"broken, but likely": {Broken, 0.86, "yet 86 % likely kept: the reading may be off by more than that"},
		"not measured":       {Unknown, 0, ""},
	} {
		t.Run(name, func(t *testing.T) {
			if got := (ShotJudgement{Verdict: c.verdict, ProbabilityKept: c.kept}).Doubt(); got != c.want {
				t.Errorf("%q, want %q", got, c.want)
			}
		})
	}
}

func TestChanceNote(t *testing.T) {
	plain := []JudgementReport{
		{Verdict: Kept, ProbabilityKept: 0.6},
		{Verdict: Broken, ProbabilityKept: 0.4},
		{Verdict: Unknown},
	}
	if got := ChanceNote(plain); got != "" {
		t.Error(got)
	}
	for _, odd := range []JudgementReport{
		{Verdict: Broken, ProbabilityKept: 0.5},
		{Verdict: Kept, ProbabilityKept: 0.49},
	} {
		if ChanceNote(append(plain, odd)) == "" {
			t.Errorf("%+v is not explained", odd)
		}
	}
}
