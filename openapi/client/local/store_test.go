package local_test

import (
	"context"
	"database/sql"
	"errors"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"laneward/openapi/client"
	"laneward/openapi/client/local"
)

const somewhere = "https://lanes.example.org"

func openAt(t *testing.T, dir, server string, user uuid.UUID) (*local.Store, error) {
	t.Helper()
	store, err := local.Open(t.Context(), dir, server, user, time.Now)
	if err == nil {
		t.Cleanup(func() { _ = store.Close() })
	}
	return store, err
}

func mustOpen(t *testing.T, dir, server string, user uuid.UUID) *local.Store {
	t.Helper()
	store, err := openAt(t, dir, server, user)
	if err != nil {
		t.Fatal(err)
	}
	return store
}

func TestPathsAreApart(t *testing.T) {
	t.Parallel()
	user := newID()
	seen := make(map[string]string)
	for _, server := range []string{
		"https://lanes.example.org", "http://lanes.example.org", "https://lanes.example.org:8443", "https://lanes.example.org/8443", "https://lanes-example.org",
		"https://" + strings.Repeat("long.", 50) + "example.org", "https://" + strings.Repeat("long.", 51) + "example.org", "https://[::1]:8080",
	} {
		path := local.Path("dir", server, user)
		if other, taken := seen[path]; taken || filepath.Base(filepath.Dir(filepath.Dir(path))) != "dir" ||
			len(filepath.Base(filepath.Dir(path))) > 80 {
			t.Errorf("%s is kept in %s, as is %q", server, path, other)
		}
		seen[path] = server
	}
	if local.Path("dir", somewhere, user) == local.Path("dir", somewhere, newID()) {
		t.Error("two people share a file")
	}
}

func TestOpen(t *testing.T) {
	t.Parallel()
	user := newID()
	for name, one := range map[string]struct {
		spoil func(t *testing.T, path string)
		want  string
	}{
		"as it was":          {func(*testing.T, string) {}, ""},
		"readable by others": {func(t *testing.T, path string) { chmod(t, path, 0o644) }, "run chmod 600"},
		"somebody else's":    {func(t *testing.T, path string) { execute(t, path, `UPDATE owner SET user = 'x'`) }, "the copy of user x"},
		"another server's":   {func(t *testing.T, path string) { execute(t, path, `UPDATE owner SET server = 'y'`) }, "of y"},
		"of a newer program": {func(t *testing.T, path string) { execute(t, path, `PRAGMA user_version = 99`) }, "newer program"},
		"no database":        {func(t *testing.T, path string) { overwrite(t, path) }, "not a database"},
		"gone":               {func(t *testing.T, path string) { remove(t, path) }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := filepath.Join(t.TempDir(), "a?b%20c #é", "not yet there")
			store, err := local.Open(t.Context(), dir, somewhere, user, time.Now)
			if err != nil {
				t.Fatal(err)
			}
			path := store.File()
			if path != local.Path(dir, somewhere, user) {
				t.Errorf("it is at %s", path)
			}
			for _, file := range []string{path, path + "-wal", path + "-shm"} {
				if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
					t.Errorf("%s: mode %v, %v", file, info.Mode(), err)
				}
			}
			if err := store.Close(); err != nil {
				t.Fatal(err)
			}
			one.spoil(t, path)
			_, err = openAt(t, dir, somewhere, user)
			if (err == nil) != (one.want == "") || err != nil && !strings.Contains(err.Error(), one.want) {
				t.Errorf("opened again: %v, want %q", err, one.want)
			}
		})
	}
}

func chmod(t *testing.T, path string, mode os.FileMode) {
	t.Helper()
	if err := os.Chmod(path, mode); err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, path string) {
	t.Helper()
	for _, file := range []string{path, path + "-wal", path + "-shm"} {
		if err := os.Remove(file); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
	}
}

func overwrite(t *testing.T, path string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
}

func execute(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: path}).String())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(t.Context(), statement); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func record(kind client.Kind, id uuid.UUID, body string) client.Record {
	return client.Record{Kind: kind, ID: id, JSON: []byte(body)}
}

// What is kept is there when the store is opened again, by another process or while it is open
// still.
func TestKeeps(t *testing.T) {
	t.Parallel()
	dir, user, squad := t.TempDir(), newID(), newID()
	first := mustOpen(t, dir, somewhere, user)
	ids := []uuid.UUID{newID(), newID(), newID()}
	for i, id := range ids {
		if err := first.Put(
			t.Context(),
			squad,
			record(client.Shot, id, `{"order":`+string(rune('1'+i))+`,"athlete_id":"a"}`),
		); err != nil {
			t.Fatal(err)
		}
	}
	second := mustOpen(t, dir, somewhere, user)
	if err := second.Put(
		t.Context(),
		squad,
		record(client.Shot, ids[1], `{"order":7,"athlete_id":"a","rev":3,"sentences":["x"]}`),
	); err != nil {
		t.Fatal(err)
	}
	if err := second.Delete(t.Context(), squad, record(client.Shot, ids[2], "")); err != nil {
		t.Fatal(err)
	}
	if err := second.Delete(t.Context(), squad, record(client.Shot, newID(), "")); err != nil {
		t.Errorf("deleting what was never there: %v", err)
	}
	all, err := first.Records(t.Context(), squad, client.Shot)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d records, %v", len(all), err)
	}
	want := `{"athlete_id":"a","id":"` + ids[1].String() + `","order":7}`
	if got := all[1]; got.ID != ids[1] || string(got.JSON) != want || got.State != local.Queued || got.Rev != 0 {
		t.Errorf("it is %s %s at %d, want %s queued", got.JSON, got.State, got.Rev, want)
	}
}

func TestPutRefuses(t *testing.T) {
	t.Parallel()
	store := mustOpen(t, t.TempDir(), somewhere, newID())
	for name, body := range map[string]string{
		"no JSON": `{"order":`, "no object": `[1]`, "null": `null`, "nothing": ``, "too large": `{"note":"` + strings.Repeat("x", local.MaxRecord) + `"}`,
	} {
		if err := store.Put(t.Context(), newID(), record(client.Shot, newID(), body)); err == nil {
			t.Errorf("%s is kept", name)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := store.Put(ctx, newID(), record(client.Shot, newID(), `{}`)); err == nil {
		t.Error("a record is kept after the end")
	}
}
