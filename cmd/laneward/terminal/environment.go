// Package terminal is what every command needs: the environment of a run, the console, tables,
// values as people type and read them, settings, completion and exit codes.
package terminal

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	openapitypes "github.com/oapi-codegen/runtime/types"
)

// Environment is what a run of the program gets from outside, so that a test can run it.
type Environment struct {
	Args   []string
	Getenv func(string) string
	Now    func() time.Time // in the zone of the person's own calendar
	Stdin  io.Reader
	Stdout io.Writer
	Stderr io.Writer
}

// Today returns the day on the person's calendar.
func (env Environment) Today() openapitypes.Date { return dayOf(env.Now()) }

// Day turns today, yesterday and tomorrow into days, and returns any other text as it is.
func (env Environment) Day(text string) string {
	day, err := ParseDay(text, env.Now())
	if err != nil {
		return text
	}
	return day.String()
}

// Local returns t in the person's time zone.
func (env Environment) Local(t time.Time) time.Time { return t.In(env.Now().Location()) }

// ClockTime writes a time in the person's time zone.
func (env Environment) ClockTime(t time.Time) string {
	return env.Local(t).Format("2006-01-02 15:04:05")
}

// ReadInput reads a whole file, or stdin for -.
func (env Environment) ReadInput(path string) ([]byte, error) {
	if path == "-" {
		text, err := io.ReadAll(env.Stdin)
		if err != nil {
			return nil, fmt.Errorf("read stdin: %w", err)
		}
		return text, nil
	}
	return os.ReadFile(path)
}

// Version returns the version that the program was built from.
func Version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "unreleased"
	}
	return info.Main.Version
}

// ConfigDir is where a person's settings and sign-ins are: the XDG configuration directory.
func ConfigDir(env Environment) string {
	if dir := env.Getenv("XDG_CONFIG_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "laneward")
	}
	return filepath.Join(env.Getenv("HOME"), ".config", "laneward")
}
