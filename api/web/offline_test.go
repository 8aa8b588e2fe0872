package web_test

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// The offline logger is served with the pages and under their policy: it starts, and asks who logs.
func TestLoggerStartsInABrowser(t *testing.T) {
	w := newEmptyWorld(t)
	b := newBrowser(t, w.server.URL)
	b.screen(390, false)
	b.open("/logger")
	b.do(chromedp.WaitVisible(chromedp.CSS(`#main input[type="password"]`)))
	if at := evaluate[string](b, "location.pathname"); at != "/logger/" {
		t.Errorf("the logger is at %s, want /logger/", at)
	}
	b.picture("logger", 390)
}
