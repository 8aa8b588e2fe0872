package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"laneward/api"
	"laneward/db"
	"laneward/db/dbtest"
	"laneward/db/pgprivate"
	"laneward/openapi"
	"laneward/service"
)

// The two benchmarks here belong together: what the service adds to the fastest way of putting the
// same rows into the same table. Run both at once, such as with
//
//	go test ./api -run '^$' -bench '10000' -benchtime 10x
//
// Each has a database of its own on one durable server (fsync, synchronous commits), and begins
// with an empty table.

const benchRows = 10_000

// durable is a new, migrated database on a server that loses nothing.
func durable(b *testing.B) dbtest.DB {
	b.Helper()
	dir, err := os.MkdirTemp("", "laneward-bench-")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			b.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o711); err != nil { // when root runs it, the server's account must get through
		b.Fatal(err)
	}
	server, err := pgprivate.Start(b.Context(), pgprivate.Config{DataDir: filepath.Join(dir, "data")})
	if errors.Is(err, pgprivate.ErrNoBinaries) {
		b.Skip("a benchmark against a durable server needs Postgres installed: ", err)
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := server.Stop(context.Background()); err != nil {
			b.Error(err)
		}
	})
	const name = "postgres"
	if err := db.Migrate(b.Context(), server.URL(name)); err != nil {
		b.Fatal(err)
	}
	return dbtest.DB{Name: name, OwnerURL: server.URL(name), ServiceURL: server.URLAs(db.ServiceRole, name)}
}

// benchLog is a log as a sensor writes it: all measured but a track, every tenth row with a note.
type benchLog struct{ csv, ndjson []byte }

func newBenchLog() benchLog {
	var lines, objects bytes.Buffer
	lines.WriteString(
		"order,time,ball,laydown_board,arrows_board,breakpoint_board,breakpoint_ft,entry_board,entry_angle_deg,launch_angle_deg," +
			"speed_mph,rev_rate_rpm,rotation_deg,tilt_deg,standing,source,board_se,note\n",
	)
	encoder := json.NewEncoder(&objects)
	at := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	for i := range benchRows {
		tenths := func(from, steps int) float64 { return float64(from*10+i%steps) / 10 }
		note := ""
		if i%10 == 0 {
			note = "high flush, moved 2 left"
		}
		laydown, arrows, breakpoint, distance := tenths(18, 37), tenths(12, 31), tenths(7, 43), tenths(40, 29)
		entry, angle, launch, speed := tenths(16, 23), tenths(4, 19), tenths(1, 17), tenths(16, 21)
		revs, standing := 300+i%97, i%10+1
		when := at.Add(time.Duration(i) * 40 * time.Second).Format(time.RFC3339)
		fmt.Fprintf(
			&lines,
			"%d,%s,blue solid,%g,%g,%g,%g,%g,%g,%g,%g,%d,45,12,%d,sensor,0.4,%q\n",
			i+1,
			when,
			laydown,
			arrows,
			breakpoint,
			distance,
			entry,
			angle,
			launch,
			speed,
			revs,
			standing,
			note,
		)
		object := map[string]any{
			"order":            i + 1,
			"time":             when,
			"ball_id":          benchBall,
			"laydown_board":    laydown,
			"arrows_board":     arrows,
			"breakpoint_board": breakpoint,
			"breakpoint_ft":    distance,
			"entry_board":      entry,
			"entry_angle_deg":  angle,
			"launch_angle_deg": launch,
			"speed_mph":        speed,
			"rev_rate_rpm":     revs,
			"rotation_deg":     45,
			"tilt_deg":         12,
			"standing":         []int{standing},
			"source":           "sensor",
			"errors":           map[string]any{"board": 0.4},
		}
		if note != "" {
			object["note"] = note
		}
		if err := encoder.Encode(object); err != nil {
			panic(err) // plain numbers and text
		}
	}
	return benchLog{lines.Bytes(), objects.Bytes()}
}

const benchBall = "0191e2c4-7d00-7000-8000-00000000b411"

// benchServer is the whole service on a port of its own.
type benchServer struct {
	*server
	url, squad, athlete string
	coach               person
}

func newBenchServer(b *testing.B, database dbtest.DB) *benchServer {
	b.Helper()
	opened, err := db.Open(b.Context(), database.ServiceURL, db.Options{MaxConns: 4, Wait: time.Minute})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(opened.Close)
	if err := opened.Durable(b.Context()); err != nil {
		b.Fatal(err)
	}
	keys, key := newKeys(b)
	s := &benchServer{server: &server{t: b, clock: newClock(), log: &logBuffer{}, key: key}}
	svc := service.New(service.Config{DB: opened, Keys: keys, Now: s.clock.now})
	b.Cleanup(svc.Close)
	handler, err := api.NewHandler(api.Config{Service: svc, Log: silent(), Version: "bench"})
	if err != nil {
		b.Fatal(err)
	}
	s.handler = handler
	listening := httptest.NewServer(handler)
	b.Cleanup(listening.Close)
	s.url = listening.URL
	s.coach = s.signUp(b, "Coach")
	s.squad = s.create(b, s.coach, "/v1/squads", map[string]any{"name": "Bench"})
	s.athlete = s.create(b, s.coach, s.path("athletes"), map[string]any{"name": "Ansa Brightwater", "side": "right"})
	s.create(
		b,
		s.coach,
		s.path("balls"),
		map[string]any{"id": benchBall, "athlete_id": s.athlete, "name": "blue solid", "weight_lb": 15},
	)
	return s
}

func (s *benchServer) path(rest string) string { return "/v1/squads/" + s.squad + "/" + rest }

func (s *benchServer) newSession(b *testing.B) string {
	b.Helper()
	return s.create(
		b,
		s.coach,
		s.path("sessions"),
		map[string]any{"kind": "practice", "name": "Bench", "date": "2026-03-14", "athlete_id": s.athlete},
	)
}

// upload sends a log over the network and reads the answer to its end.
func (s *benchServer) upload(b *testing.B, session, mediaType string, log []byte) (body []byte) {
	b.Helper()
	request, err := http.NewRequestWithContext(
		b.Context(),
		http.MethodPost,
		s.url+s.path("sessions/"+session+"/shots"),
		bytes.NewReader(log),
	)
	if err != nil {
		b.Fatal(err)
	}
	request.Header.Set("Content-Type", mediaType)
	request.Header.Set("Authorization", "Bearer "+s.coach.token)
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		b.Fatal(err)
	}
	defer response.Body.Close()
	if body, err = io.ReadAll(response.Body); err != nil || response.StatusCode != http.StatusOK {
		b.Fatalf("%v: %s: %.300s", err, response.Status, body)
	}
	return body
}

func wantStored(b *testing.B, body []byte, n int) {
	b.Helper()
	var result openapi.UploadResult
	if err := json.Unmarshal(body, &result); err != nil || result.Counts.Stored != n {
		b.Fatalf("%v: %+v", err, result.Counts)
	}
}

func reportRows(b *testing.B, bytesEach int) {
	b.Helper()
	b.SetBytes(int64(bytesEach))
	b.ReportMetric(benchRows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkUpload10000 uploads logs of 10,000 new shots: over HTTP, with authentication, reading,
// validation, ids, row-level security, foreign keys, revisions and an outcome for each row.
func BenchmarkUpload10000(b *testing.B) {
	log := newBenchLog()
	for _, tc := range []struct {
		name, mediaType string
		log             []byte
	}{{"csv", "text/csv", log.csv}, {"ndjson", "application/x-ndjson", log.ndjson}} {
		b.Run(tc.name, func(b *testing.B) {
			s := newBenchServer(b, durable(b))
			b.ResetTimer()
			for range b.N {
				b.StopTimer()
				session := s.newSession(b)
				b.StartTimer()
				body := s.upload(b, session, tc.mediaType, tc.log)
				b.StopTimer()
				wantStored(b, body, benchRows)
				b.StartTimer()
			}
			reportRows(b, len(tc.log))
		})
	}
	b.Run("csv again", func(b *testing.B) { // nothing new: what a resend costs
		s := newBenchServer(b, durable(b))
		session := s.newSession(b)
		wantStored(b, s.upload(b, session, "text/csv", log.csv), benchRows)
		b.ResetTimer()
		for range b.N {
			wantStored(b, s.upload(b, session, "text/csv", log.csv), 0)
		}
		reportRows(b, len(log.csv))
	})
	b.Run("csv corrected", func(b *testing.B) { // every row conflicts with what is stored
		s := newBenchServer(b, durable(b))
		session := s.newSession(b)
		wantStored(b, s.upload(b, session, "text/csv", log.csv), benchRows)
		corrected := bytes.ReplaceAll(log.csv, []byte("sensor"), []byte("camera"))
		b.ResetTimer()
		for range b.N {
			wantStored(b, s.upload(b, session, "text/csv", corrected), 0)
		}
		reportRows(b, len(corrected))
	})
}

// BenchmarkCopy10000 puts the same rows, ready made, into the same table with all its keys and
// indexes, as its owner, whom no policy binds.
func BenchmarkCopy10000(b *testing.B) {
	for _, tc := range []struct {
		name   string
		copyIn func(b *testing.B, url string, conn *pgx.Conn, file string)
	}{{"psql", copyByPsql}, {"driver", copyByDriver}} {
		b.Run(tc.name, func(b *testing.B) {
			database := durable(b)
			url := database.OwnerURL
			s := newBenchServer(b, database)
			session := s.newSession(b)
			wantStored(b, s.upload(b, session, "text/csv", newBenchLog().csv), benchRows)
			conn, err := pgx.Connect(b.Context(), url)
			if err != nil {
				b.Fatal(err)
			}
			defer conn.Close(context.Background())
			file, size := filepath.Join(b.TempDir(), "rows"), 0
			b.ResetTimer()
			for i := range b.N {
				b.StopTimer()
				size = writeRows(b, conn, session, s.newSession(b), file, int64(i+1)*1_000_000)
				b.StartTimer()
				tc.copyIn(b, url, conn, file)
			}
			b.StopTimer()
			var n int
			if err := conn.QueryRow(b.Context(), "SELECT count(*) FROM shots").
				Scan(&n); err != nil ||
				n != (b.N+1)*benchRows {
				b.Fatalf("%d rows, want %d (%v)", n, (b.N+1)*benchRows, err)
			}
			reportRows(b, size)
		})
	}
}

// writeRows writes the uploaded rows of one session as rows of another, in the text form of COPY.
func writeRows(b *testing.B, conn *pgx.Conn, from, session, file string, revs int64) (size int) {
	b.Helper()
	var columns string
	err := conn.QueryRow(b.Context(), `SELECT string_agg(CASE attname WHEN 'id' THEN 'gen_random_uuid()' WHEN 'session_id' THEN quote_literal($1) || '::uuid'
		WHEN 'rev' THEN 'rev + ' || $2::text ELSE attname::text END, ', ' ORDER BY attnum)
		FROM pg_attribute WHERE attrelid = 'shots'::regclass AND attnum > 0 AND NOT attisdropped`, session, fmt.Sprint(revs)).
		Scan(&columns)
	if err != nil {
		b.Fatal(err)
	}
	var rows bytes.Buffer
	query := fmt.Sprintf(
		"COPY (SELECT %s FROM shots WHERE session_id = '%s' ORDER BY shot_order) TO STDOUT",
		columns,
		uuid.MustParse(from),
	)
	if _, err := conn.PgConn().CopyTo(b.Context(), &rows, query); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(file, rows.Bytes(), 0o644); err != nil {
		b.Fatal(err)
	}
	return rows.Len()
}

func copyByPsql(b *testing.B, url string, _ *pgx.Conn, file string) {
	b.Helper()
	psql, err := exec.LookPath("psql")
	if err != nil {
		b.Skip("psql is not installed: see the driver's figure")
	}
	command := exec.CommandContext(
		b.Context(),
		psql,
		"-X",
		"-q",
		"-v",
		"ON_ERROR_STOP=1",
		"-d",
		url,
		"-c",
		`\copy shots from '`+file+`'`,
	)
	if out, err := command.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, strings.TrimSpace(string(out)))
	}
}

// copyByDriver copies on a connection that stands already.
func copyByDriver(b *testing.B, _ string, conn *pgx.Conn, file string) {
	b.Helper()
	rows, err := os.Open(file)
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	if _, err := conn.PgConn().CopyFrom(b.Context(), rows, "COPY shots FROM STDIN"); err != nil {
		b.Fatal(err)
	}
}
