package synctest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// wireClient is a way to the server over sockets, as many as it takes.
func wireClient(base string) *client {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.MaxIdleConnsPerHost = 128
	return &client{http: &http.Client{Transport: transport}, base: base}
}

// pushAtOnce lets writers push new shots at once, some of them twice over, and returns the ids that
// were acknowledged as stored, each of which must have been so once.
func pushAtOnce(t *testing.T, coach *person, b base, writers, pushes int) (stored []string) {
	t.Helper()
	var mu sync.Mutex
	var all sync.WaitGroup
	for writer := range writers {
		all.Go(func() {
			for push := range pushes {
				items := b.shots(1+rand.IntN(20), 1+20*(writer*pushes+push))
				for repeat := range 1 + rand.IntN(2) {
					result, err := coach.push(t.Context(), b.squad, items)
					if err != nil {
						t.Error(err)
						return
					}
					mu.Lock()
					for _, o := range result.Outcomes {
						switch {
						case o.Outcome == "stored" && repeat == 0:
							stored = append(stored, o.ID)
						case o.Outcome != "same" || repeat == 0:
							t.Errorf("push %d of %v: %+v", repeat, items[0].Record["order"], o)
						}
					}
					mu.Unlock()
				}
			}
		})
	}
	all.Wait()
	slices.Sort(stored)
	if n := len(slices.Compact(slices.Clone(stored))); n != len(stored) {
		t.Errorf("%d shots were stored more than once", len(stored)-n)
	}
	return stored
}

// TestManyWritersInOneSquad has 32 writers, a reader that polls the whole time and one that follows
// the live tail: no gap, no duplicate, no deadlock, and both readers are given every revision in
// order.
func TestManyWritersInOneSquad(t *testing.T) {
	t.Parallel()
	s := newServer(t, 12)
	coach := signUp(t, wireClient(s.listen(t)), "Coach")
	b := coach.newBase(t)
	after, first := coach.end(t, b.squad)
	polled, tailed := newSeen(), newSeen()
	done := make(chan struct{})
	read := make(chan error, 1)
	go func() { read <- coach.poll(t.Context(), b.squad, after, 50, done, polled) }()
	tail, stop := context.WithCancel(t.Context())
	defer stop()
	followed := make(chan error, 1)
	go func() {
		_, err := coach.followLive(tail, b.squad, after, tailed.take)
		followed <- err
	}()
	stored := pushAtOnce(t, coach, b, 32, 6)
	close(done)
	if err := <-read; err != nil {
		t.Fatal(err)
	}
	_, last := coach.end(t, b.squad)
	if int(last-first) != len(stored) {
		t.Errorf("the squad went from revision %d to %d for %d shots", first, last, len(stored))
	}
	polled.checkDense(t, first+1, last)
	awaitCount(t, tailed, len(stored))
	stop()
	if err := <-followed; err != nil {
		t.Error(err)
	}
	tailed.checkDense(t, first+1, last)
	for name, reader := range map[string]*seen{"polling": polled, "following": tailed} {
		if lost := reader.missing(stored); len(lost) > 0 {
			t.Errorf("the %s reader missed %d shots", name, len(lost))
		}
	}
	if trouble := s.log.lines("deadlock"); len(trouble) > 0 {
		t.Error(trouble[0])
	}
}

func awaitCount(t *testing.T, s *seen, n int) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); s.count() < n; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%d of %d items came", s.count(), n)
		}
	}
}

// TestManySquadsAtOnce has 64 squads with two writers and a polling reader each.
func TestManySquadsAtOnce(t *testing.T) {
	t.Parallel()
	s := newServer(t, 8)
	coach := signUp(t, wireClient(s.listen(t)), "Coach")
	var squads sync.WaitGroup
	for range 64 {
		b := coach.newBase(t)
		after, first := coach.end(t, b.squad)
		squads.Go(func() {
			given, done, read := newSeen(), make(chan struct{}), make(chan error, 1)
			go func() { read <- coach.poll(t.Context(), b.squad, after, 20, done, given) }()
			stored := pushAtOnce(t, coach, b, 2, 3)
			close(done)
			if err := <-read; err != nil {
				t.Error(err)
				return
			}
			given.checkDense(t, first+1, first+int64(len(stored)))
			if lost := given.missing(stored); len(lost) > 0 {
				t.Errorf("the reader missed %d shots", len(lost))
			}
		})
	}
	squads.Wait()
}

// TestEditsFromManyAtOnce has many devices edit one record from the same revision: the edits of
// different fields all land, of those of one field exactly one does, and nobody is told otherwise.
func TestEditsFromManyAtOnce(t *testing.T) {
	t.Parallel()
	s := newServer(t, 12)
	coach := signUp(t, wireClient(s.listen(t)), "Coach")
	b := coach.newBase(t)
	id := newID()
	was := fields{"id": id, "name": "Pattern", "length_ft": 40.0}
	rev := coach.mustPush(t, b.squad, []item{{Kind: "pattern", Record: was}}, "stored").Outcomes[0].Rev
	edits := []fields{{"length_ft": 41.0}, {"note": "dry by the second game"}}
	for i := range 14 {
		edits = append(edits, fields{"name": fmt.Sprintf("Pattern %d", i)})
	}
	outcomes := make([]outcome, len(edits))
	var all sync.WaitGroup
	for i, edit := range edits {
		all.Go(func() {
			record := fields{"rev": rev}
			for name, value := range was {
				record[name] = value
			}
			for name, value := range edit {
				record[name] = value
			}
			result, err := coach.push(t.Context(), b.squad, []item{{Kind: "pattern", Record: record}})
			if err != nil {
				t.Error(err)
				return
			}
			outcomes[i] = result.Outcomes[0]
		})
	}
	all.Wait()
	landed := ""
	for i, o := range outcomes {
		switch {
		case i < 2 && o.Outcome != "stored":
			t.Errorf("the edit %v met nobody's, and is %+v", edits[i], o)
		case i >= 2 && o.Outcome == "stored" && landed == "":
			landed = edits[i]["name"].(string)
		case i >= 2 && (o.Outcome != "conflict" || o.Record == nil):
			t.Errorf("the edit %v: %+v, want a conflict that shows what stands", edits[i], o)
		}
	}
	var now fields
	if err := coach.call(t.Context(), http.MethodGet, "/v1/squads/"+b.squad+"/patterns/"+id, nil, &now); err != nil {
		t.Fatal(err)
	}
	if now["name"] != landed || now["length_ft"] != 41.0 || now["note"] != "dry by the second game" {
		t.Errorf("the pattern is %v, want the name %q and both other edits", now, landed)
	}
}

// TestSlowReaderIsDropped lets a reader of the live tail stop reading: the squad goes on, the
// reader's stream ends, and with its last id it finds everything it missed.
func TestSlowReaderIsDropped(t *testing.T) {
	t.Parallel()
	s := newServer(t, 8)
	address := s.listen(t)
	coach := signUp(t, wireClient(address), "Coach")
	b := coach.newBase(t)
	after, first := coach.end(t, b.squad)
	slow := coach.via(&client{base: address, http: &http.Client{Transport: &http.Transport{DialContext: narrow}}})
	events, body, err := slow.live(t.Context(), b.squad, after)
	if err != nil {
		t.Fatal(err)
	}
	defer body.Close()
	if e, err := events.next(); err != nil || e.name != "at" {
		t.Fatalf("%+v, %v", e, err)
	}
	// More than the sockets hold between them, and then more pushes than the server keeps for a
	// reader that does not take them.
	const piece = 1_000
	order := 1
	for range 16 {
		coach.mustPush(t, b.squad, b.shots(piece, order), "stored")
		order += piece
	}
	for range 120 {
		coach.mustPush(t, b.squad, b.shots(1, order), "stored")
		order++
		time.Sleep(5 * time.Millisecond) // else they go out together
	}
	given := newSeen()
	resume, err := drainEvents(events, after, given.take) // it returns: the server has ended the stream
	if err != nil {
		t.Fatal(err)
	}
	if given.count() == order-1 {
		t.Fatal("the slow reader was given everything: it was not slow")
	}
	done := make(chan struct{})
	close(done)
	if err := coach.poll(t.Context(), b.squad, resume, 1000, done, given); err != nil {
		t.Fatal(err)
	}
	given.checkDense(t, first+1, first+int64(order-1))
}

// narrow dials with a small window, so that a reader that does not read is felt soon.
func narrow(ctx context.Context, network, address string) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
	if err != nil {
		return nil, err
	}
	return conn, conn.(*net.TCPConn).SetReadBuffer(64 << 10)
}

// TestHotSquadLeavesRoom has more writers wait for one squad than the server has connections:
// readers of that squad and whoever works in another one are answered all the same.
func TestHotSquadLeavesRoom(t *testing.T) {
	t.Parallel()
	const conns = 4
	s := newServer(t, conns)
	coach := signUp(t, directClient(s.handler), "Coach")
	hot, other := coach.newBase(t), coach.newBase(t)
	owner, err := pgx.Connect(t.Context(), s.db.OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close(context.Background())
	lock, err := owner.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := lock.Exec(
		t.Context(),
		"SELECT rev FROM squads_clock WHERE squad_id = $1 FOR UPDATE",
		hot.squad,
	); err != nil {
		t.Fatal(err)
	}
	var writers sync.WaitGroup
	for i := range 4 * conns {
		writers.Go(func() { coach.mustPush(t, hot.squad, hot.shots(1, 1+i), "stored") })
	}
	for waiting := 0; waiting == 0; { // until one has come to the lock
		const blocked = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
		if err := lock.QueryRow(t.Context(), blocked).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if _, err := coach.feed(ctx, hot.squad, "", 10); err != nil {
		t.Errorf("reading the hot squad: %v", err)
	}
	if result, err := coach.push(
		ctx,
		other.squad,
		other.shots(1, 1),
	); err != nil ||
		result.Outcomes[0].Outcome != "stored" {
		t.Errorf("pushing to another squad: %+v, %v", result, err)
	}
	if err := lock.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	writers.Wait()
}
