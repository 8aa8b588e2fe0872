package logger_test

import (
	"fmt"
	"testing"
)

func TestFiftyShotsOffline(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.begin(athleteEmail, w.session.Name)
	d.wait("the service worker", "navigator.serviceWorker.ready.then(() => true)")

	d.offline(true)
	before := w.network.quiet()
	for i := range 50 {
		if i == 25 {
			d.reopen(true) // closed and opened with the network off
			d.wait("the lane", "document.querySelector('.lane .wood')")
		}
		d.tapLane(float64(8+i%7), 41)
		if i%3 == 0 {
			d.click(".strike")
		} else {
			d.pin(10)
		}
		d.save()
	}
	if after, _, _ := w.network.counts(); after != before {
		t.Fatalf("%d requests reached the server while the network was off", after-before)
	}
	if n := len(w.shots()); n != 0 {
		t.Fatalf("the server has %d shots before the network is back", n)
	}
	d.reopen(false)
	d.waitSent()

	shots := w.shots()
	if len(shots) != 50 {
		t.Fatalf("the server has %d shots, want 50", len(shots))
	}
	for i, s := range shots {
		if s.Order != i+1 {
			t.Errorf("shot %d has order %d", i+1, s.Order)
		}
		if s.Source != "eye" || *s.DrillID != w.drill.ID || s.ID.Version() != 7 {
			t.Errorf("shot %d: source %q, drill %v, id version %d", i+1, s.Source, s.DrillID, s.ID.Version())
		}
		if *s.BreakpointBoard != float64(8+i%7) || *s.BreakpointFt != 41 || s.EntryBoard != nil || s.SpeedMPH != nil {
			t.Errorf(
				"shot %d was not stored as tapped: %s",
				i+1,
				fmt.Sprintf("%v %v %v %v", *s.BreakpointBoard, *s.BreakpointFt, s.EntryBoard, s.SpeedMPH),
			)
		}
		if s.Standing.Strike() != (i%3 == 0) {
			t.Errorf("shot %d left %s", i+1, s.Standing)
		}
	}
}
