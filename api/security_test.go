package api_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestSecurityTable holds the document on signing in to what there is: each operation and each test
// that it names exists, and each requirement stands once, in one of the ways that there are.
func TestSecurityTable(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("security.md")
	if err != nil {
		t.Fatal(err)
	}
	tests := namesOfTests(t)
	for _, found := range regexp.MustCompile(`\b(op|test):(\w+)`).FindAllStringSubmatch(string(text), -1) {
		_, operation := operations()[found[2]]
		if found[1] == "op" && !operation || found[1] == "test" && !tests[found[2]] {
			t.Errorf("%s does not exist", found[0])
		}
	}
	seen := make(map[string]bool)
	for _, row := range regexp.MustCompile(`(?m)^\| (\d\.\d\.\d+) \| (\d) \| .+ \| (.+?) \| (.+) \|$`).FindAllStringSubmatch(string(text), -1) {
		number, level, stands, by := row[1], row[2], row[3], row[4]
		if seen[number] {
			t.Errorf("%s stands twice", number)
		}
		seen[number] = true
		switch stands {
		case "met", "does not apply":
		case "otherwise":
			if level == "1" {
				t.Errorf("%s is of level 1 and is chosen otherwise", number)
			}
		default:
			t.Errorf("%s stands as %q", number, stands)
		}
		if len(strings.Fields(by)) < 1 {
			t.Errorf("%s has no reason", number)
		}
	}
	if len(seen) < 50 {
		t.Errorf("only %d requirements were read", len(seen))
	}
}

// namesOfTests are all the tests of the module.
func namesOfTests(t *testing.T) map[string]bool {
	t.Helper()
	names, declared := make(map[string]bool), regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	err := filepath.WalkDir("..", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, found := range declared.FindAllSubmatch(text, -1) {
			names[string(found[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}
