package terminal

import (
	"bytes"
	"fmt"
	"os"

	"golang.org/x/term"
)

// Console is how a command talks to the person: data goes to stdout, everything else to stderr.
type Console struct {
	Env   Environment
	JSON  bool
	Quiet bool
}

// Say prints a message along the way.
func (c Console) Say(format string, values ...any) {
	if !c.Quiet {
		fmt.Fprintf(c.Env.Stderr, format+"\n", values...)
	}
}

// Warn prints what the person must know even when they asked for quiet.
func (c Console) Warn(format string, values ...any) {
	fmt.Fprintf(c.Env.Stderr, "laneward: "+format+"\n", values...)
}

// Print prints data.
func (c Console) Print(text string) error {
	_, err := fmt.Fprint(c.Env.Stdout, text)
	return err
}

// PrintJSON prints an answer of the server as it came.
func (c Console) PrintJSON(text []byte) error {
	return c.Print(string(bytes.TrimRight(text, "\n")) + "\n")
}

// Done reports what a changing command did: the record's JSON, or the id alone when quiet, or a
// sentence.
func (c Console) Done(id fmt.Stringer, record []byte, format string, values ...any) error {
	switch {
	case c.JSON:
		return c.PrintJSON(record)
	case c.Quiet:
		return c.Print(id.String() + "\n")
	}
	return c.Print(fmt.Sprintf(format, values...) + "\n")
}

// File returns the file of a stream that is a terminal, nil otherwise.
func File(stream any) *os.File {
	if file, ok := stream.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		return file
	}
	return nil
}

// Width is how many columns stdout has, 0 when it is not a terminal.
func (c Console) Width() int {
	file := File(c.Env.Stdout)
	if file == nil {
		return 0
	}
	columns, _, err := term.GetSize(int(file.Fd()))
	if err != nil {
		return 0
	}
	return columns
}

// Colourful reports whether to use colours and bold face on stdout (no-color.org).
func (c Console) Colourful() bool {
	return File(c.Env.Stdout) != nil && c.Env.Getenv("NO_COLOR") == "" && c.Env.Getenv("TERM") != "dumb"
}

// The styles of ECMA-48 in use.
const (
	bold   = "1"
	Red    = "31"
	Green  = "32"
	Yellow = "33"
)

// Styled returns a text in one of the styles.
func Styled(text, style string) string {
	if style == "" {
		return text
	}
	return "\x1b[" + style + "m" + text + "\x1b[0m"
}

// WriteFile writes a file for showing, and says so.
func (c Console) WriteFile(path string, text []byte) error {
	if err := os.WriteFile(path, text, 0o644); err != nil { //nolint:gosec // films and pictures are for showing
		return fmt.Errorf("write the file: %w", err)
	}
	c.Say("Wrote %s.", path)
	return nil
}
