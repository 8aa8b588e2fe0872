package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"laneward/cmd/laneward/terminal"
	"laneward/openapi/client"
	"laneward/openapi/client/local"
	"laneward/service/shot"
)

const logHelp = `A shot is laydown, arrows, breakpoint@ft, entry and the pins left:
  15.5 11 9@42 17 10    one pin left; 4-9 several, x a strike, - not seen
Anything by its name, before or instead:
  bp=9@42 leave=x speed=17.2 revs=310 ball=Blue note=late, to the end of the line
  names: laydown arrows breakpoint (bp) at entry leave angle launch speed revs rotation tilt ball note
And:
  undo             take back the last shot of this sitting
  edit 4 bp=10@41  change shot 4: only what is typed; speed=- takes it away
  delete 4         delete shot 4
  show             the shots of this session; show 4 one of them
  drill            what is asked for, and how it stands in all
  ball Blue        the ball from now on; ball - none
  quit             end, as does Ctrl-D; every shot is saved already
`

// work takes lines until the person quits.
func (d *logDesk) work(ctx context.Context) error {
	if err := d.welcome(); err != nil {
		return err
	}
	for {
		line, err := d.ask(ctx, strconv.Itoa(d.nextOrder())+"> ")
		if err != nil {
			return err
		}
		if err := d.load(ctx); err != nil { // a sync may have brought something meanwhile
			return err
		}
		err = d.obey(ctx, line)
		var mistake *typingMistake
		if errors.As(err, &mistake) {
			d.wrong++
			d.Say("%s.", upperFirst(err.Error()))
			continue
		}
		if err != nil {
			return err
		}
		if line != "" {
			d.done++
		}
	}
}

// typingMistake is what the person can fix by typing another line.
type typingMistake struct{ cause error }

func (m *typingMistake) Error() string { return m.cause.Error() }

func (m *typingMistake) Unwrap() error { return m.cause }

func mistake(format string, values ...any) error {
	return &typingMistake{fmt.Errorf(format, values...)}
}

func (d *logDesk) welcome() error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s: %s", d.session.Name, d.session.Date, d.athlete.Name)
	if n := len(d.inSession); n > 0 {
		fmt.Fprintf(&b, ", %s so far", terminal.Things(n, "shot"))
	}
	b.WriteString(".\n")
	if d.drill != nil {
		b.WriteString(d.drillWords(d.whole()))
	}
	if d.prompts {
		b.WriteString(
			"Type laydown, arrows, breakpoint@ft, entry and the pins left, such as 15.5 11 9@42 17 10; help shows more.\n",
		)
	}
	return d.Print(b.String())
}

func (d *logDesk) nextOrder() int {
	if len(d.inSession) == 0 {
		return 1
	}
	return d.inSession[len(d.inSession)-1].Order + 1
}

// obey carries out a line.
func (d *logDesk) obey(ctx context.Context, line string) error {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	switch strings.ToLower(word) {
	case "":
		return nil
	case "help", "?":
		return d.Print(logHelp)
	case "undo":
		return d.undo(ctx)
	case "edit":
		return d.editShot(ctx, rest)
	case "delete":
		return d.deleteShot(ctx, rest)
	case "show":
		return d.show(rest)
	case "drill":
		return d.showDrill()
	case "ball":
		return d.changeBall(rest)
	}
	return d.log(ctx, line)
}

// log keeps a new shot and prints what came of it.
func (d *logDesk) log(ctx context.Context, line string) error {
	id, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make an id: %w", err)
	}
	s := shot.Shot{
		ID:        id,
		SessionID: d.session.id,
		AthleteID: *d.athlete.ID,
		BallID:    d.ball,
		Order:     d.nextOrder(),
		Time:      d.Env.Now(),
		Source:    "eye",
	}
	if d.drill != nil {
		s.DrillID = &d.drill.id
	}
	if err := d.apply(&s, line); err != nil {
		return err
	}
	if err := d.keepSession(ctx); err != nil {
		return err
	}
	if err := d.keep(ctx, s, 0); err != nil {
		return err
	}
	d.saved++
	d.mine = append(d.mine, id)
	return d.tell(s.ID, "Saved")
}

// apply changes a shot as a line says; a change that makes it invalid is a mistake.
func (d *logDesk) apply(s *shot.Shot, line string) error {
	change, err := parseShot(line)
	if err != nil {
		return &typingMistake{err}
	}
	if len(change) == 0 {
		return mistake("that says nothing about the shot: help shows what to type")
	}
	for _, one := range change {
		if one.ball == "" {
			one.set(s)
			continue
		}
		if s.BallID, err = d.findBall(one.ball); err != nil {
			return &typingMistake{err}
		}
	}
	if faults := shot.Validate(*s); len(faults) > 0 {
		words := make([]string, len(faults))
		for i, fault := range faults {
			words[i] = fault.Error()
		}
		return mistake("not saved: %s", strings.Join(words, "; "))
	}
	return nil
}

// keep stores a shot, on the disk when it returns, and rejudges.
func (d *logDesk) keep(ctx context.Context, s shot.Shot, rev int64) error {
	text, err := json.Marshal(s.Canonical())
	if err != nil {
		return fmt.Errorf("write the shot: %w", err)
	}
	err = d.Put(ctx, d.squad.ID, client.Record{Kind: client.Shot, ID: s.ID, Rev: rev, JSON: text})
	if err != nil {
		return storeFailure(err)
	}
	return d.refresh(ctx, s.ID)
}

// storeFailure is a mistake when the person can carry on regardless.
func storeFailure(err error) error {
	if client.CodeOf(err) == client.Conflict {
		return &typingMistake{fmt.Errorf("%w (laneward sync conflicts)", err)}
	}
	return err
}

// tell prints what was kept, the drill's judgement of it, and how well the drill is kept.
func (d *logDesk) tell(id uuid.UUID, done string) error {
	at := slices.IndexFunc(d.inSession, func(s loggedShot) bool { return s.ID == id })
	if at < 0 {
		return fmt.Errorf("shot %s is not where it was stored", id)
	}
	s := &d.inSession[at]
	text := fmt.Sprintf("%s %s: %s\n", done, s.number, shotLine(&s.Shot, d.ballName(s.BallID)))
	if words := d.judgementWords(id); words != "" {
		text += fmt.Sprintf("   %s. %s.\n", d.verdictStyle(id, upperFirst(words)), d.standingWords(nil))
	}
	return d.Print(text)
}

func upperFirst(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

func (d *logDesk) verdictStyle(id uuid.UUID, words string) string {
	if !d.Colourful() {
		return words
	}
	return terminal.Styled(
		words,
		map[string]string{
			"kept":    terminal.Green,
			"broken":  terminal.Red,
			"unknown": terminal.Yellow,
		}[string(d.judged[id].Verdict)],
	)
}

func (d *logDesk) ballName(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	for _, ball := range d.arsenal {
		if ball.ID == *id {
			return nameText(ball)
		}
	}
	return "another ball"
}

// undo removes the last shot of this run.
func (d *logDesk) undo(ctx context.Context) error {
	for len(d.mine) > 0 {
		last := d.mine[len(d.mine)-1]
		at := slices.IndexFunc(d.inSession, func(s loggedShot) bool { return s.ID == last })
		if at < 0 { // deleted already
			d.mine = d.mine[:len(d.mine)-1]
			continue
		}
		return d.remove(ctx, d.inSession[at], "Taken back")
	}
	return mistake("there is no shot of this sitting to take back: change an older one with edit, or delete it")
}

func (d *logDesk) deleteShot(ctx context.Context, text string) error {
	s, rest, err := d.numbered(text)
	if err != nil {
		return err
	}
	if rest != "" {
		return mistake("type its number alone: delete %s", s.number)
	}
	return d.remove(ctx, s, "Deleted")
}

func (d *logDesk) remove(ctx context.Context, s loggedShot, done string) error {
	if err := d.Delete(ctx, d.squad.ID, client.Record{Kind: client.Shot, ID: s.ID, Rev: s.rev}); err != nil {
		return storeFailure(err)
	}
	if at := slices.Index(d.mine, s.ID); at >= 0 {
		d.mine = slices.Delete(d.mine, at, at+1)
		d.saved--
	}
	if err := d.refresh(ctx, s.ID); err != nil {
		return err
	}
	text := fmt.Sprintf("%s %s.\n", done, s.number)
	if words := d.standingWords(nil); words != "" {
		text += "   " + words + ".\n"
	}
	return d.Print(text)
}

// numbered finds the shot whose number a text begins with.
func (d *logDesk) numbered(text string) (s loggedShot, rest string, err error) {
	word, rest, _ := strings.Cut(text, " ")
	if word == "" || word[0] < '0' || word[0] > '9' {
		return s, "", mistake("say which shot, by its number: show lists them")
	}
	for _, one := range d.inSession {
		if one.number == strings.ToLower(word) {
			return one, strings.TrimSpace(rest), nil
		}
	}
	return s, "", mistake("there is no shot %s in this session: show lists them", word)
}

func (d *logDesk) editShot(ctx context.Context, text string) error {
	s, rest, err := d.numbered(text)
	if err != nil {
		return err
	}
	if rest == "" {
		return mistake("say what is to change, such as edit %s bp=10@41", s.number)
	}
	if err := d.apply(&s.Shot, rest); err != nil {
		return err
	}
	if err := d.keep(ctx, s.Shot, s.rev); err != nil {
		return err
	}
	return d.tell(s.ID, "Changed")
}

// show lists the session's shots, or one.
func (d *logDesk) show(text string) error {
	shots := d.inSession
	if text != "" {
		s, _, err := d.numbered(text)
		if err != nil {
			return err
		}
		shots = []loggedShot{s}
	}
	if len(shots) == 0 {
		d.Say("No shots yet.")
		return nil
	}
	list := terminal.NewTable("shot>", "sync", "drill", "what was seen")
	for i := range shots {
		s := &shots[i]
		list.Add(
			s.number,
			stateWords[s.state],
			d.shortVerdict(s.ID),
			shotLine(&s.Shot, d.ballName(s.BallID)),
		)
	}
	return d.PrintTable(list)
}

var stateWords = map[local.State]string{
	local.Synced:   "",
	local.Queued:   "unsent",
	local.Waiting:  "waiting",
	local.Refused:  "refused",
	local.Conflict: "conflict",
}

func (d *logDesk) changeBall(text string) error {
	switch text {
	case "":
		if d.ball == nil {
			return mistake("say which: ball NAME, or ball - for none")
		}
		return d.Print("The ball is " + d.ballName(d.ball) + ".\n")
	case notMeasured:
		d.ball = nil
		return d.Print("No ball from now on.\n")
	}
	ball, err := d.findBall(text)
	if err != nil {
		return &typingMistake{err}
	}
	d.ball = ball
	return d.Print("From now on: " + d.ballName(ball) + ".\n")
}
