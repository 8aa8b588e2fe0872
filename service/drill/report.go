package drill

import "laneward/service/trend"

// ScoreReport is a score as the contract's JSON has it.
type ScoreReport struct {
	Reading       string            `json:"reading"`
	Verdict       DrillVerdict      `json:"verdict"`
	Withdrawn     DrillVerdict      `json:"withdrawn,omitempty"`
	Shots         int               `json:"shots"`
	Kept          int               `json:"kept"`
	Broken        int               `json:"broken"`
	Unknown       int               `json:"unknown"`
	Judged        int               `json:"judged"`
	Coverage      float64           `json:"coverage"`
	KeptShare     proportionReport  `json:"kept_share"`
	TrueShare     trueShareReport   `json:"true_share"`
	OutsideMisses int               `json:"outside_misses"`
	InsideMisses  int               `json:"inside_misses"`
	GutterBalls   int               `json:"gutter_balls"`
	MeanMargin    *float64          `json:"mean_margin,omitempty"`
	MarginUnit    string            `json:"margin_unit,omitempty"`
	LongestRun    int               `json:"longest_run"`
	RepsLeft      int               `json:"reps_left"`
	Evidence      evidenceReport    `json:"evidence"`
	Trend         halvesReport      `json:"trend"`
	Pocket        comparisonReport  `json:"pocket"`
	Strike        comparisonReport  `json:"strike"`
	Rules         []ruleTallyReport `json:"rules"`
}

type proportionReport struct {
	Count int      `json:"count"`
	Of    int      `json:"of"`
	Share *float64 `json:"share,omitempty"`
	trend.Interval
}

type trueShareReport struct {
	Share *float64 `json:"share,omitempty"`
	trend.Interval
	Method  IntervalMethod `json:"method"`
	AtLeast float64        `json:"at_least"`
	AtMost  float64        `json:"at_most"`
}

type differenceReport struct {
	Value *float64 `json:"value,omitempty"`
	trend.Interval
}

type comparisonReport struct {
	Kept       proportionReport `json:"kept"`
	Broken     proportionReport `json:"broken"`
	Difference differenceReport `json:"difference"`
}

type halvesReport struct {
	Later      proportionReport `json:"later"`
	Earlier    proportionReport `json:"earlier"`
	Difference differenceReport `json:"difference"`
}

type evidenceReport struct {
	PassShare      float64 `json:"pass_share"`
	FailShare      float64 `json:"fail_share"`
	Progress       float64 `json:"progress"`
	KeptToMet      *int    `json:"kept_to_met,omitempty"`
	BrokenToNotMet *int    `json:"broken_to_not_met,omitempty"`
	DecidedAt      int     `json:"decided_at"`
	MetFrom        int     `json:"met_from"`
	NotMetTo       int     `json:"not_met_to"`
}

type ruleTallyReport struct {
	Sentence    string   `json:"sentence"`
	Kept        int      `json:"kept"`
	Broken      int      `json:"broken"`
	Unknown     int      `json:"unknown"`
	BrokenBelow int      `json:"broken_below"`
	BrokenAbove int      `json:"broken_above"`
	Estimated   int      `json:"estimated"`
	MeanMargin  *float64 `json:"mean_margin,omitempty"`
	Unit        string   `json:"unit,omitempty"`
}

// Report writes the score as the contract's JSON has it; sentences are the drill's rules in words.
func (a Adherence) Report(sentences []string) ScoreReport {
	report := ScoreReport{
		Reading: a.Reading, Verdict: a.Verdict, Withdrawn: a.Withdrawn,
		Shots: a.Shots, Kept: a.Kept, Broken: a.Broken, Unknown: a.Unknown, Judged: a.Judged, Coverage: a.Coverage,
		KeptShare: a.KeptShare.report(),
		TrueShare: trueShareReport{
			a.TrueShare.Share,
			a.TrueShare.Interval,
			a.TrueShare.Method,
			a.TrueShare.Bounds.Low,
			a.TrueShare.Bounds.High,
		},
		OutsideMisses: a.OutsideMisses, InsideMisses: a.InsideMisses, GutterBalls: a.GutterBalls,
		MeanMargin: a.MeanMargin, MarginUnit: a.MarginUnit, LongestRun: a.LongestRun, RepsLeft: a.RepsLeft,
		Evidence: evidenceReport(a.Evidence),
		Trend:    halvesReport{a.Trend.First.report(), a.Trend.Second.report(), a.Trend.difference()},
		Pocket:   comparisonReport{a.Pocket.First.report(), a.Pocket.Second.report(), a.Pocket.difference()},
		Strike:   comparisonReport{a.Strike.First.report(), a.Strike.Second.report(), a.Strike.difference()},
		Rules:    make([]ruleTallyReport, len(a.Rules)),
	}
	for i, rule := range a.Rules {
		report.Rules[i] = ruleTallyReport{
			sentences[i], rule.Kept, rule.Broken, rule.Unknown, rule.BrokenBelow, rule.BrokenAbove, rule.Estimated,
			rule.MeanMargin, rule.Unit,
		}
	}
	return report
}

func (p Proportion) report() proportionReport {
	return proportionReport{p.Count, p.Of, p.Share, p.Interval}
}

func (c Comparison) difference() differenceReport { return differenceReport{c.Difference, c.Interval} }

// JudgementReport is a judgement as the contract's JSON has it.
type JudgementReport struct {
	Verdict         Verdict  `json:"verdict"`
	Basis           Basis    `json:"basis,omitempty"`
	Value           *float64 `json:"value,omitempty"`
	StandardError   *float64 `json:"standard_error,omitempty"`
	Margin          *float64 `json:"margin,omitempty"`
	ProbabilityKept float64  `json:"probability_kept"`
	Miss            Miss     `json:"miss,omitempty"`
	Reason          string   `json:"reason,omitempty"`
}

// Report writes the judgement as the contract's JSON has it.
func (j Judgement) Report() JudgementReport {
	report := JudgementReport{
		Verdict: j.Verdict, Basis: j.Basis, ProbabilityKept: j.ProbabilityKept, Miss: j.Miss, Reason: j.Reason,
	}
	if j.Basis != "" {
		report.Value, report.StandardError, report.Margin = &j.Value, &j.StandardError, &j.Margin
	}
	return report
}

// Reports writes the judgements of a shot's rules as the contract's JSON has them.
func (s ShotJudgement) Reports() []JudgementReport {
	reports := make([]JudgementReport, len(s.Rules))
	for i, rule := range s.Rules {
		reports[i] = rule.Report()
	}
	return reports
}
