//go:build unix

package pgprivate

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// installFake writes an installation that answers --version with the text.
func installFake(t *testing.T, root, name, version string) string {
	t.Helper()
	dir := filepath.Join(root, name, "bin")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, program := range []string{"postgres", "initdb"} {
		if err := os.WriteFile(
			filepath.Join(dir, program),
			[]byte("#!/bin/sh\necho '"+version+"'\n"),
			0o755,
		); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestSearchDirs(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	for _, name := range []string{"9.6", "15", "18", "17", "snapshot"} {
		installFake(t, root, name, "")
	}
	got := searchDirs("/opt/pg/bin:relative:.::/usr/bin", filepath.Join(root, "*", "bin"))
	for i, dir := range got {
		if relative, err := filepath.Rel(root, dir); err == nil && !strings.HasPrefix(relative, "..") {
			got[i] = relative
		}
	}
	if diff := cmp.Diff([]string{"/opt/pg/bin", "/usr/bin", "18/bin", "17/bin", "15/bin"}, got[:5]); diff != "" {
		t.Errorf("the order (-want +got):\n%s", diff)
	}
	if len(got) != 7 {
		t.Errorf("9.6 and snapshot come last: %v", got)
	}
}

func TestPickBinaries(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	v14 := installFake(t, root, "14", "postgres (PostgreSQL) 14.9")
	v15 := installFake(t, root, "15", "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)")
	v19 := installFake(t, root, "19", "postgres (PostgreSQL) 19beta1")
	odd := installFake(t, root, "odd", "something else")
	empty := filepath.Join(root, "empty")

	for _, test := range []struct {
		name  string
		dirs  []string
		major int
		want  string   // the folder picked
		says  []string // or the error
	}{
		{name: "new cluster takes the first that is new enough", dirs: []string{empty, v14, v19, v15}, want: v19},
		{name: "old cluster takes its own version", dirs: []string{v19, v15}, major: 15, want: v15},
		{name: "one that does not answer is passed over", dirs: []string{odd, v15}, want: v15},
		{
			name: "nothing installed", dirs: []string{empty},
			says: []string{"no usable PostgreSQL", "15 or newer", "none on PATH", "apt-get install postgresql", "LANEWARD_PG_BIN", "URL of a running server"},
		},
		{name: "only an old one", dirs: []string{v14}, says: []string{"only version 14 in " + v14, "15 or newer"}},
		{name: "not the cluster's", dirs: []string{v19}, major: 15, says: []string{"only version 19", "apt-get install postgresql-15"}},
		{name: "only one that does not answer", dirs: []string{odd}, says: []string{"does not run", `"something else"`}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			found, err := pickBinaries(t.Context(), test.dirs, test.major)
			if test.want != "" {
				if err != nil || filepath.Dir(found.postgres) != test.want {
					t.Fatalf("picked %v, %v; want %s", found, err, test.want)
				}
				return
			}
			if !errors.Is(err, ErrNoBinaries) {
				t.Fatalf("got %v, %v", found, err)
			}
			for _, want := range test.says {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("the error does not say %q: %v", want, err)
				}
			}
		})
	}
}
