package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// layers are the module's folders from the top down: a package imports only what stands below its
// own line.
var layers = []string{"cmd", "api", "service", "db"}

// pure are the packages of the domain, which know neither SQL, nor HTTP, nor each other upwards.
var pure = []string{
	"phone", "advice", "record", "line", "reading", "drill", "picture", "motion", "oil", "shot", "tenpin", "trend", "lane", "background",
}

// rooms are the packages of the program, each with those of them it may import.
var rooms = map[string][]string{
	"terminal": {},
	"offline":  {"terminal"},
	"lines":    {"terminal"},
	"remote":   {"terminal", "offline", "lines"},
	"desk":     {"terminal", "remote"},
	"server":   {"terminal"},
}

func TestImportsRunOneWay(t *testing.T) {
	listed, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "laneward/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	lines := strings.Split(strings.TrimSpace(string(listed)), "\n")
	if len(lines) < 10 {
		t.Fatalf("only %d packages are listed", len(lines))
	}
	for _, line := range lines {
		fields := strings.Fields(line)
		for _, imported := range fields[1:] {
			if reason := forbidden(fields[0], imported); reason != "" {
				t.Errorf("%s imports %s: %s", fields[0], imported, reason)
			}
		}
	}
}

func forbidden(from, imported string) string {
	from = strings.TrimPrefix(from, "laneward/")
	if domain, ok := strings.CutPrefix(from, "service/"); ok {
		return forbiddenInDomain(domain, imported)
	}
	own, ok := strings.CutPrefix(imported, "laneward/")
	if !ok {
		return ""
	}
	if room, ok := strings.CutPrefix(from, "cmd/laneward/"); ok {
		return forbiddenInRoom(room, own)
	}
	switch {
	case strings.HasPrefix(own, "openapi") && (layer(from) == "service" || layer(from) == "db"):
		return "the contract is known to api and to the client only"
	case layer(from) == "openapi" && layer(own) != "openapi":
		return "the contract and the client stand alone"
	case rank(layer(own)) < rank(layer(from)):
		return "imports run cmd -> api -> service -> db"
	}
	return ""
}

func forbiddenInRoom(room, own string) string {
	if other, ok := strings.CutPrefix(own, "cmd/laneward/"); ok {
		if !slices.Contains(rooms[room], other) {
			return "of the program's rooms, " + room + " may import only " + strings.Join(rooms[room], ", ")
		}
		return ""
	}
	switch {
	case room != "server" && (own == "service" || layer(own) == "api" || layer(own) == "db"):
		return "only the server's commands know the server"
	case (room == "server" || room == "offline" || room == "lines") && layer(own) == "openapi":
		return room + " asks no server"
	case room == "terminal" && layer(own) == "service":
		return "what every command needs knows nothing of the domain"
	}
	return ""
}

func forbiddenInDomain(domain, imported string) string {
	if imported == "net/http" || imported == "database/sql" || strings.Contains(imported, "jackc/pgx") {
		return "a domain package knows neither SQL nor HTTP"
	}
	own, ok := strings.CutPrefix(imported, "laneward/")
	if !ok {
		return ""
	}
	below, inDomain := strings.CutPrefix(own, "service/")
	if !inDomain {
		return "domain packages import only each other"
	}
	if place(below) <= place(domain) {
		return "domain packages import each other downwards"
	}
	return ""
}

func layer(path string) string {
	first, _, _ := strings.Cut(path, "/")
	return first
}

// rank is a layer's place from the top; what is no layer, such as openapi, stands below all.
func rank(name string) int {
	for i, l := range layers {
		if l == name {
			return i
		}
	}
	return len(layers)
}

// place is a domain package's place from the top.
func place(name string) int {
	for i, p := range pure {
		if p == layer(name) {
			return i
		}
	}
	return -1
}

func TestForbidden(t *testing.T) {
	for _, c := range []struct {
		from, imported string
		refused        bool
	}{
		{"laneward/cmd/laneward", "laneward/api", false},
		{"laneward/api", "laneward/service", false},
		{"laneward/service", "laneward/api", true},
		{"laneward/db", "laneward/service", true},
		{"laneward/service", "laneward/openapi", true},
		{"laneward/openapi/client", "laneward/service/shot", true},
		{"laneward/service/drill", "laneward/service/lane", false},
		{"laneward/service/lane", "laneward/service/drill", true},
		{"laneward/service/motion", "laneward/db", true},
		{"laneward/service/motion", "net/http", true},
		{"laneward/cmd/laneward", "laneward/cmd/laneward/server", false},
		{"laneward/cmd/laneward/desk", "laneward/cmd/laneward/remote", false},
		{"laneward/cmd/laneward/remote", "laneward/cmd/laneward/desk", true},
		{"laneward/cmd/laneward/remote", "laneward/api", true},
		{"laneward/cmd/laneward/server", "laneward/api", false},
		{"laneward/cmd/laneward/server", "laneward/openapi/client", true},
		{"laneward/cmd/laneward/offline", "laneward/cmd/laneward/remote", true},
		{"laneward/cmd/laneward/offline", "laneward/openapi", true},
		{"laneward/cmd/laneward/lines", "laneward/openapi", true},
		{"laneward/cmd/laneward/offline", "laneward/service/oil", false},
		{"laneward/cmd/laneward/offline", "laneward/service", true},
		{"laneward/cmd/laneward/terminal", "laneward/cmd/laneward/offline", true},
		{"laneward/cmd/laneward/terminal", "laneward/service/oil", true},
	} {
		if got := forbidden(c.from, c.imported) != ""; got != c.refused {
			t.Errorf("%s importing %s: refused %v, want %v", c.from, c.imported, got, c.refused)
		}
	}
}
