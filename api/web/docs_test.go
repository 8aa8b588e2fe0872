package web_test

import (
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/getkin/kin-openapi/openapi3"

	"laneward/openapi"
)

// Every operation and schema of the contract has its place on the page, with an example that the
// contract takes, and every link on the page leads somewhere.
func TestDocsShowTheContract(t *testing.T) {
	w := newEmptyWorld(t)
	page := w.visitor().get("/docs")
	page.wants(t, http.StatusOK, "/openapi.json")
	contract, err := openapi3.NewLoader().LoadFromData(openapi.Contract)
	must(t, err)
	for path, item := range contract.Paths.Map() {
		for method, operation := range item.Operations() {
			section := between(page.body, `id="`+operation.OperationID+`"`, "</section>")
			for _, part := range []string{
				method + " " + path, operation.Summary, "<pre", ">400 invalid<",
			} {
				if !strings.Contains(html.UnescapeString(section), part) {
					t.Errorf("%s: the page does not show %q", operation.OperationID, part)
				}
			}
			if operation.RequestBody == nil || operation.RequestBody.Value.Content["text/csv"] != nil {
				continue
			}
			body := between(html.UnescapeString(between(section, "<pre", "</pre>")), "-d '", "'")
			var value any
			if err := json.Unmarshal([]byte(body), &value); err != nil {
				t.Errorf("%s: %v: %s", operation.OperationID, err, body)
				continue
			}
			schema := operation.RequestBody.Value.Content["application/json"].Schema.Value
			if err := schema.VisitJSON(value, openapi3.EnableFormatValidation(), openapi3.MultiErrors()); err != nil {
				t.Errorf("%s: the example does not fit: %v: %s", operation.OperationID, err, body)
			}
		}
	}
	for name := range contract.Components.Schemas {
		if !strings.Contains(page.body, `id="schema-`+name+`"`) {
			t.Errorf("the schema %s is not shown", name)
		}
	}
	for _, link := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(page.body, -1) {
		if !strings.Contains(page.body, `id="`+link[1]+`"`) {
			t.Errorf("#%s leads nowhere", link[1])
		}
	}
}

// The page of the contract passes the checks of every page, and is reached and read by keyboard.
func TestDocsInABrowser(t *testing.T) {
	w := newEmptyWorld(t)
	b := newBrowser(t, w.server.URL)
	for _, width := range []int64{390, 1280} {
		for _, dark := range []bool{false, true} {
			b.screen(width, dark)
			b.open("/docs")
			for _, fault := range evaluate[[]string](b, audit) {
				t.Errorf("at %d px: %s", width, fault)
			}
			if over := evaluate[int64](b, "document.documentElement.scrollWidth"); over > width {
				t.Errorf("at %d px the page is %d px wide", width, over)
			}
		}
		for _, place := range []string{"", "#createAthlete", "#schema-Athlete"} { // the whole is too long for one picture
			b.open("/docs" + place)
			shot, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
			must(t, err)
			name := fmt.Sprintf("docs%s-%d.png", strings.ReplaceAll(place, "#", "-"), width)
			must(t, os.WriteFile(filepath.Join(b.dir, name), shot, 0o600))
		}
	}
	b.open("/docs#createAthlete")
	b.do(chromedp.Focus("#createAthlete summary"), chromedp.KeyEvent(kb.Enter))
	if !evaluate[bool](b, `document.querySelector("#createAthlete details").open`) {
		t.Error("the example does not open by the keyboard")
	}
}

// between is the text after the first begin up to the next end.
func between(text, begin, end string) string {
	_, rest, _ := strings.Cut(text, begin)
	found, _, _ := strings.Cut(rest, end)
	return found
}
