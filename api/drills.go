package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/google/uuid"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/drill"
	"laneward/service/record"
)

func (h *handlers) ReadSentence(
	ctx context.Context,
	r openapi.ReadSentenceRequestObject,
) (openapi.ReadSentenceResponseObject, error) {
	reading, sentences, err := h.service.ReadSentence(ctx, userOf(ctx), r.SquadID, r.Body.Sentence)
	if err != nil {
		return nil, err
	}
	reply := readRuleReply{Rules: reading.Rules, Sentences: sentences, Reps: reading.Reps, PassShare: reading.PassShare}
	if len(reading.Rules) == 1 {
		reply.Rule, reply.Sentence = &reading.Rules[0], sentences[0]
	}
	return reply, nil
}

// readRuleReply answers with rules, whose JSON is the contract's.
type readRuleReply struct {
	Rule      *drill.Rule  `json:"rule,omitempty"`
	Sentence  string       `json:"sentence,omitempty"`
	Rules     []drill.Rule `json:"rules"`
	Sentences []string     `json:"sentences"`
	Reps      int          `json:"reps,omitempty"`
	PassShare float64      `json:"pass_share,omitempty"`
}

func (r readRuleReply) VisitReadSentenceResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) GetAdherence(
	ctx context.Context,
	r openapi.GetAdherenceRequestObject,
) (openapi.GetAdherenceResponseObject, error) {
	query := service.DrillQuery{Drill: r.DrillID, Athlete: r.Params.AthleteID, Session: r.Params.SessionID}
	scores, err := h.service.Adherence(ctx, userOf(ctx), r.SquadID, query)
	if err != nil {
		return nil, err
	}
	reply := adherenceReply{Drill: scores.Drill, Athletes: make([]openapi.AthleteAdherence, len(scores.Scores))}
	for i, score := range scores.Scores {
		reply.Athletes[i] = AdherenceOf(score, scores.Drill.Sentences)
	}
	return reply, nil
}

type adherenceReply struct {
	Drill    *record.Drill              `json:"drill"`
	Athletes []openapi.AthleteAdherence `json:"athletes"`
}

func (r adherenceReply) VisitGetAdherenceResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

// AdherenceOf writes a score as the contract has it; sentences are the drill's rules in words.
func AdherenceOf(score service.Score, sentences []string) openapi.AthleteAdherence {
	a := score.Adherence
	answer := openapi.AthleteAdherence{
		AthleteID: score.Athlete.ID,
		Name:      score.Athlete.Name,
		Side:      openapi.AthleteAdherenceSide(score.Athlete.Side),
		Assigned:  score.Assigned,
		From: dateOf(
			score.From,
		),
		To:       dateOf(score.To),
		Reading:  a.Reading,
		Verdict:  openapi.AthleteAdherenceVerdict(a.Verdict),
		Shots:    a.Shots,
		Kept:     a.Kept,
		Broken:   a.Broken,
		Unknown:  a.Unknown,
		Judged:   a.Judged,
		Coverage: a.Coverage,
		KeptShare: proportionOf(
			a.KeptShare,
		),
		TrueShare:     trueShareOf(a.TrueShare),
		OutsideMisses: a.OutsideMisses,
		InsideMisses:  a.InsideMisses,
		GutterBalls:   a.GutterBalls,
		MeanMargin:    a.MeanMargin,
		MarginUnit:    nonEmpty(a.MarginUnit),
		LongestRun:    a.LongestRun,
		RepsLeft:      a.RepsLeft,
		Evidence:      evidenceOf(a.Evidence),
		Trend: openapi.LaterAgainstEarlier{
			Later:      proportionOf(a.Trend.First),
			Earlier:    proportionOf(a.Trend.Second),
			Difference: differenceOf(a.Trend),
		},
		Pocket: keptAgainstBroken(
			a.Pocket,
		),
		Strike: keptAgainstBroken(a.Strike),
		Rules:  make([]openapi.RuleTally, len(a.Rules)),
	}
	for i, rule := range a.Rules {
		answer.Rules[i] = openapi.RuleTally{
			Sentence:    sentences[i],
			Kept:        rule.Kept,
			Broken:      rule.Broken,
			Unknown:     rule.Unknown,
			BrokenBelow: rule.BrokenBelow,
			BrokenAbove: rule.BrokenAbove,
			Estimated:   rule.Estimated,
			MeanMargin:  rule.MeanMargin,
			Unit:        nonEmpty(rule.Unit),
		}
	}
	return answer
}

func proportionOf(p drill.Proportion) openapi.Proportion {
	return openapi.Proportion{Count: p.Count, Of: p.Of, Share: p.Share, Low: p.Interval.Low, High: p.Interval.High}
}

func trueShareOf(s drill.TrueShare) openapi.TrueShare {
	return openapi.TrueShare{
		Share:   s.Share,
		Low:     s.Interval.Low,
		High:    s.Interval.High,
		Method:  openapi.TrueShareMethod(s.Method),
		AtLeast: s.Bounds.Low,
		AtMost:  s.Bounds.High,
	}
}

func differenceOf(c drill.Comparison) openapi.Difference {
	return openapi.Difference{Value: c.Difference, Low: c.Interval.Low, High: c.Interval.High}
}

func keptAgainstBroken(c drill.Comparison) openapi.KeptAgainstBroken {
	return openapi.KeptAgainstBroken{
		Kept:       proportionOf(c.First),
		Broken:     proportionOf(c.Second),
		Difference: differenceOf(c),
	}
}

func evidenceOf(e drill.Evidence) openapi.Evidence {
	return openapi.Evidence{
		PassShare:      e.PassShare,
		FailShare:      e.FailShare,
		Progress:       e.Progress,
		KeptToMet:      e.KeptToMet,
		BrokenToNotMet: e.BrokenToNotMet,
		DecidedAt:      e.DecidedAt,
		MetFrom:        e.MetFrom,
		NotMetTo:       e.NotMetTo,
	}
}

func (h *handlers) GetJudgements(
	ctx context.Context,
	r openapi.GetJudgementsRequestObject,
) (openapi.GetJudgementsResponseObject, error) {
	scores, judged, err := h.service.Judgements(
		ctx,
		userOf(ctx),
		r.SquadID,
		athleteQuery(r.DrillID, r.AthleteID, r.Params.SessionID),
	)
	if err != nil {
		return nil, err
	}
	reply := judgementsReply{Drill: scores.Drill, Items: make([]judgedShot, len(judged))}
	for i, one := range judged {
		reply.Items[i] = judgedShot{
			Shot:            one.Shot,
			Verdict:         one.Judgement.Verdict,
			ProbabilityKept: one.Judgement.ProbabilityKept,
			Rules:           make([]openapi.RuleJudgement, len(one.Judgement.Rules)),
		}
		for j, rule := range one.Judgement.Rules {
			reply.Items[i].Rules[j] = RuleJudgementOf(rule)
		}
	}
	return reply, nil
}

func athleteQuery(drillID, athlete uuid.UUID, session *uuid.UUID) service.DrillQuery {
	return service.DrillQuery{Drill: drillID, Athlete: &athlete, Session: session}
}

type judgementsReply struct {
	Drill *record.Drill `json:"drill"`
	Items []judgedShot  `json:"items"`
}

type judgedShot struct {
	Shot            *record.Shot            `json:"shot"`
	Verdict         drill.Verdict           `json:"verdict"`
	ProbabilityKept float64                 `json:"probability_kept"`
	Rules           []openapi.RuleJudgement `json:"rules"`
}

func (r judgementsReply) VisitGetJudgementsResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

// RuleJudgementOf writes a judgement as the contract has it.
func RuleJudgementOf(j drill.Judgement) openapi.RuleJudgement {
	answer := openapi.RuleJudgement{
		Verdict:         openapi.Verdict(j.Verdict),
		ProbabilityKept: j.ProbabilityKept,
		Reason:          nonEmpty(j.Reason),
		Miss:            nonEmpty(openapi.RuleJudgementMiss(j.Miss)),
	}
	if j.Basis != "" {
		answer.Basis = nonEmpty(string(j.Basis))
		answer.Value, answer.StandardError, answer.Margin = &j.Value, &j.StandardError, &j.Margin
	}
	return answer
}

func (h *handlers) GetDrillPicture(
	ctx context.Context,
	r openapi.GetDrillPictureRequestObject,
) (openapi.GetDrillPictureResponseObject, error) {
	scene, err := h.service.DrillPicture(
		ctx,
		userOf(ctx),
		r.SquadID,
		athleteQuery(r.DrillID, r.AthleteID, r.Params.SessionID),
		pictureWidthPx,
	)
	if err != nil {
		return nil, err
	}
	svg := scene.SVG()
	return openapi.GetDrillPicture200ImageSvgXMLResponse{
		Body:          bytes.NewReader(svg),
		ContentLength: int64(len(svg)),
	}, nil
}

func (h *handlers) AssignDrill(
	ctx context.Context,
	r openapi.AssignDrillRequestObject,
) (openapi.AssignDrillResponseObject, error) {
	query := service.AssignQuery{
		DrillID:    r.DrillID,
		AssignedOn: record.Day{Time: r.Body.AssignedOn.Time},
		DueOn:      dayOf(r.Body.DueOn),
		Note:       text(r.Body.Note),
	}
	if r.Body.AthleteIds != nil {
		query.Athletes = *r.Body.AthleteIds
	}
	if r.Body.Drill != nil {
		stored, err := decode(record.KindDrill, "/drill", r.Body.Drill)
		if err != nil {
			return nil, err
		}
		query.Drill = stored.(*record.Drill)
	}
	given, err := h.service.Assign(ctx, userOf(ctx), r.SquadID, query)
	return assignReply(given), err
}

// assignReply answers with a drill and what each athlete holds of it.
type assignReply service.Assigned

func (r assignReply) VisitAssignDrillResponse(w http.ResponseWriter) error {
	type item struct {
		Assignment *record.Assignment `json:"assignment"`
		Created    bool               `json:"created"`
	}
	answer := struct {
		Drill       *record.Drill `json:"drill"`
		Assignments []item        `json:"assignments"`
	}{Drill: r.Drill}
	for i, assignment := range r.Assignments {
		answer.Assignments = append(answer.Assignments, item{assignment, r.Created[i]})
	}
	if r.New {
		return writeJSON(w, http.StatusCreated, answer)
	}
	return writeJSON(w, http.StatusOK, answer)
}
