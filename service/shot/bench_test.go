package shot_test

import (
	"bytes"
	"io"
	"iter"
	"slices"
	"testing"
	"time"

	"laneward/service/lane"
	"laneward/service/shot"
)

// benchShots are rows as a sensor writes them: everything measured but a track; every tenth with a
// note.
func benchShots() []shot.Shot {
	const rows = 10_000
	shots := make([]shot.Shot, rows)
	for i := range shots {
		s := valid()
		s.Order = i + 1
		s.ID = shot.DeriveID(s.SessionID, s.AthleteID, s.Order)
		s.Time = s.Time.Add(time.Duration(i) * 40 * time.Second)
		s.LaydownBoard = new(18 + float64(i%37)/10)
		s.SpeedMPH = new(16 + float64(i%23)/10)
		s.Standing = new(lane.PinSet(i % 1024))
		s.Track = nil
		if s.Note = ""; i%10 == 0 {
			s.Note = "high flush, moved 2 left"
		}
		shots[i] = s
	}
	return shots
}

func benchmarkReader(b *testing.B, log []byte, read func(io.Reader, shot.Options) iter.Seq2[shot.Row, error]) {
	b.SetBytes(int64(len(log)))
	b.ReportAllocs()
	rows := 0
	for b.Loop() {
		rows = 0
		for row, err := range read(bytes.NewReader(log), toSession) {
			if err != nil || row.Faults != nil {
				b.Fatal(err, row.Faults)
			}
			rows++
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkReadCSV(b *testing.B) {
	var log bytes.Buffer
	if err := shot.WriteCSV(&log, slices.Values(benchShots())); err != nil {
		b.Fatal(err)
	}
	benchmarkReader(b, log.Bytes(), shot.ReadCSV)
}

func BenchmarkReadNDJSON(b *testing.B) {
	var log bytes.Buffer
	for _, s := range benchShots() {
		log.WriteString(encode(b, s) + "\n")
	}
	benchmarkReader(b, log.Bytes(), shot.ReadNDJSON)
}

func BenchmarkReadJSON(b *testing.B) {
	benchmarkReader(b, []byte(encode(b, benchShots())), shot.ReadJSON)
}

func BenchmarkValidate(b *testing.B) {
	s := valid()
	b.ReportAllocs()
	for b.Loop() {
		if shot.Validate(s) != nil {
			b.Fatal("not valid")
		}
	}
}

func BenchmarkWriteCSV(b *testing.B) {
	shots := benchShots()
	for b.Loop() {
		if err := shot.WriteCSV(io.Discard, slices.Values(shots)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(shots))*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
