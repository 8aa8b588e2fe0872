package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/google/uuid"
	openapitypes "github.com/oapi-codegen/runtime/types"

	"laneward/openapi"
	"laneward/service"
	"laneward/service/drill"
	"laneward/service/lane"
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
	reply := adherenceReply{Drill: scores.Drill, Athletes: make([]athleteAdherence, len(scores.Scores))}
	for i, score := range scores.Scores {
		reply.Athletes[i] = athleteAdherence{
			AthleteID:   score.Athlete.ID,
			Name:        score.Athlete.Name,
			Side:        score.Athlete.Side,
			Assigned:    score.Assigned,
			From:        dateOf(score.From),
			To:          dateOf(score.To),
			ScoreReport: score.Adherence.Report(scores.Drill.Sentences),
		}
	}
	return reply, nil
}

type adherenceReply struct {
	Drill    *record.Drill      `json:"drill"`
	Athletes []athleteAdherence `json:"athletes"`
}

// athleteAdherence is the contract's AthleteAdherence.
type athleteAdherence struct {
	AthleteID uuid.UUID          `json:"athlete_id"`
	Name      string             `json:"name"`
	Side      lane.Side          `json:"side"`
	Assigned  bool               `json:"assigned"`
	From      *openapitypes.Date `json:"from,omitempty"`
	To        *openapitypes.Date `json:"to,omitempty"`
	drill.ScoreReport
}

func (r adherenceReply) VisitGetAdherenceResponse(w http.ResponseWriter) error {
	return writeJSON(w, http.StatusOK, r)
}

func (h *handlers) GetJudgements(
	ctx context.Context,
	r openapi.GetJudgementsRequestObject,
) (openapi.GetJudgementsResponseObject, error) {
	done, err := h.service.Download(userOf(ctx))
	if err != nil {
		return nil, err
	}
	scores, judged, err := h.service.Judgements(
		ctx,
		userOf(ctx),
		r.SquadID,
		athleteQuery(r.DrillID, r.AthleteID, r.Params.SessionID),
	)
	if err != nil {
		done()
		return nil, err
	}
	reply := judgementsReply{Drill: scores.Drill, Items: make([]judgedShot, len(judged)), sent: done}
	for i, one := range judged {
		reply.Items[i] = judgedShot{
			Shot:            one.Shot,
			Verdict:         one.Judgement.Verdict,
			ProbabilityKept: one.Judgement.ProbabilityKept,
			Rules:           one.Judgement.Reports(),
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
	sent  func()
}

type judgedShot struct {
	Shot            *record.Shot            `json:"shot"`
	Verdict         drill.Verdict           `json:"verdict"`
	ProbabilityKept float64                 `json:"probability_kept"`
	Rules           []drill.JudgementReport `json:"rules"`
}

func (r judgementsReply) VisitGetJudgementsResponse(w http.ResponseWriter) error {
	defer r.sent()
	return writeJSON(w, http.StatusOK, r)
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
