package logger_test

import "testing"

// Every view is looked at on a phone and on a laptop, in the light and in the dark; the pictures
// are for a person to see.
func TestLook(t *testing.T) {
	w := newWorld(t)
	d := newDevice(t, startBrowser(t), w.server.URL)
	d.open("")
	d.wait("the sign-in", "document.querySelector('#password')")
	d.everywhere("sign-in")
	d.begin(athleteEmail, w.session.Name)
	d.everywhere("log-first")
	boards := []float64{11, 12, 9, 13, 10, 11, 8, 12, 12, 11, 14, 12}
	for i, board := range boards {
		d.tapLane(board+8, 0)
		d.tapLane(board+2, 15)
		d.tapLane(board, 42)
		d.tapLane(17, 60)
		if i%2 == 0 {
			d.click(".strike")
		} else {
			d.pin(6)
			d.pin(10)
		}
		if i == 5 {
			d.everywhere("log-kept")
		}
		if i == 6 {
			d.everywhere("log-broken")
		}
		d.save()
	}
	d.everywhere("log-saved")
	d.open("#/shots")
	d.wait("the shots", "document.querySelectorAll('.shots li').length === 12")
	d.everywhere("shots")
	d.click(".shots li:nth-child(3) a")
	d.waitText("Save changes")
	d.everywhere("edit")
	d.open("#/start")
	d.waitText("What are you logging?")
	d.everywhere("start")
	d.clickText("New session")
	d.everywhere("new-session")
	d.open("#/sync")
	d.waitText("Everything is sent.")
	d.everywhere("sync")
}

// everywhere looks at the page at both widths and in the dark.
func (d *device) everywhere(name string) {
	d.t.Helper()
	for _, width := range []int64{390, 1280} {
		for _, dark := range []bool{false, true} {
			d.screen(width, dark)
			suffix := ""
			if dark {
				suffix = "-dark"
			}
			d.look(name+suffix, width)
		}
	}
	d.screen(320, false) // what a page enlarged fourfold on a laptop has (WCAG 2.2, 1.4.10)
	d.look(name, 320)
	d.screen(390, false)
}
