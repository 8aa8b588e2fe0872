//go:build unix

package pgprivate

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// binaries are the two programs of one Postgres installation that a private server needs.
type binaries struct {
	postgres, initdb string
	major            int
}

// debianBinGlob is where Debian and its relatives install each major version, off the PATH.
const debianBinGlob = "/usr/lib/postgresql/*/bin"

// InstalledMajor is the major version that [Start] would make a new cluster with, or
// [ErrNoBinaries]. An empty binDir searches as [Config.BinDir] says.
func InstalledMajor(ctx context.Context, binDir string) (int, error) {
	found, err := findBinaries(ctx, binDir, 0)
	return found.major, err
}

// findBinaries picks the installation to run: of the given major version, or of any from [MinMajor]
// up when major is 0 (a new cluster). It looks in the order of [Config.BinDir]. An [ErrNoBinaries]
// says what was seen and what to install.
func findBinaries(ctx context.Context, binDir string, major int) (binaries, error) {
	if binDir == "" {
		binDir = os.Getenv("LANEWARD_PG_BIN")
	}
	if binDir == "" {
		return pickBinaries(ctx, searchDirs(os.Getenv("PATH"), debianBinGlob), major)
	}
	if _, err := inspectBinaries(ctx, binDir); err != nil {
		return binaries{}, fmt.Errorf(
			"%w: the bin directory given (LANEWARD_PG_BIN) must hold postgres and initdb: %w",
			ErrNoBinaries,
			err,
		)
	}
	return pickBinaries(ctx, []string{binDir}, major)
}

// pickBinaries returns the first installation in dirs that fits.
func pickBinaries(ctx context.Context, dirs []string, major int) (binaries, error) {
	var seen []string
	for _, dir := range dirs {
		found, err := inspectBinaries(ctx, dir)
		switch {
		case ctx.Err() != nil:
			return binaries{}, ctx.Err()
		case errors.Is(err, os.ErrNotExist), errors.Is(err, os.ErrPermission): // none, or none for this user
			continue
		case err != nil:
			seen = append(seen, fmt.Sprintf("one that does not run (%v)", err))
		case found.major == major || (major == 0 && found.major >= MinMajor):
			return found, nil
		default:
			seen = append(seen, fmt.Sprintf("version %d in %s", found.major, dir))
		}
	}
	want, install := fmt.Sprintf("version %d or newer", MinMajor), "apt-get install postgresql"
	if major != 0 {
		want, install = fmt.Sprintf(
			"version %d, which made the data directory",
			major,
		), fmt.Sprintf(
			"apt-get install postgresql-%d",
			major,
		)
	}
	looked := "none on PATH or in " + debianBinGlob
	if len(seen) > 0 {
		looked = "only " + strings.Join(seen, ", ")
	}
	return binaries{}, fmt.Errorf(
		"%w: it takes %s, and there is %s: install it (`%s` on Debian and Ubuntu), point LANEWARD_PG_BIN at its bin directory, or give the URL of a running server",
		ErrNoBinaries,
		want,
		looked,
		install,
	)
}

// searchDirs lists the folders to look in: those of path in its order, then the matches of glob,
// the highest version first.
func searchDirs(path, glob string) []string {
	var dirs []string
	for _, dir := range filepath.SplitList(path) {
		if filepath.IsAbs(dir) { // a program must not come from the current directory
			dirs = append(dirs, dir)
		}
	}
	versioned, err := filepath.Glob(glob)
	if err != nil {
		panic(err) // the pattern is a constant
	}
	version := func(dir string) int {
		n, err := strconv.Atoi(filepath.Base(filepath.Dir(dir)))
		if err != nil {
			return -1 // not a released version: last
		}
		return n
	}
	slices.SortFunc(versioned, func(a, b string) int { return version(b) - version(a) })
	return append(dirs, versioned...)
}

var versionPattern = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// inspectBinaries reads the version of the installation in dir; the error is os.ErrNotExist when
// there is none.
func inspectBinaries(ctx context.Context, dir string) (binaries, error) {
	found := binaries{postgres: filepath.Join(dir, "postgres"), initdb: filepath.Join(dir, "initdb")}
	for _, program := range []string{found.postgres, found.initdb} {
		if _, err := os.Stat(program); err != nil {
			return binaries{}, err
		}
	}
	out, err := exec.CommandContext(ctx, found.postgres, "--version").CombinedOutput()
	if err != nil {
		return binaries{}, fmt.Errorf("%s --version: %w: %s", found.postgres, err, strings.TrimSpace(string(out)))
	}
	match := versionPattern.FindSubmatch(out)
	if match == nil {
		return binaries{}, fmt.Errorf("%s --version says %q", found.postgres, strings.TrimSpace(string(out)))
	}
	if found.major, err = strconv.Atoi(string(match[1])); err != nil {
		return binaries{}, fmt.Errorf("%s --version says %q: %w", found.postgres, strings.TrimSpace(string(out)), err)
	}
	return found, nil
}
