package main

import (
	"bytes"
	"fmt"
	"os"

	"golang.org/x/term"
)

// console is how a command talks to the person: data goes to stdout, everything else to stderr.
type console struct {
	env   environment
	json  bool
	quiet bool
}

// say tells the person something on the way.
func (c console) say(format string, values ...any) {
	if !c.quiet {
		fmt.Fprintf(c.env.stderr, format+"\n", values...)
	}
}

// warn tells what the person must know even when they asked for quiet.
func (c console) warn(format string, values ...any) {
	fmt.Fprintf(c.env.stderr, "laneward: "+format+"\n", values...)
}

func (c console) print(text string) error {
	_, err := fmt.Fprint(c.env.stdout, text)
	return err
}

// printJSON prints an answer of the server as it came.
func (c console) printJSON(text []byte) error {
	return c.print(string(bytes.TrimRight(text, "\n")) + "\n")
}

// done tells what a changing command did: the record's JSON, or the id alone when quiet, or a
// sentence.
func (c console) done(id fmt.Stringer, record []byte, format string, values ...any) error {
	switch {
	case c.json:
		return c.printJSON(record)
	case c.quiet:
		return c.print(id.String() + "\n")
	}
	return c.print(fmt.Sprintf(format, values...) + "\n")
}

// terminal returns the file of a stream that is a terminal, nil otherwise.
func terminal(stream any) *os.File {
	if file, ok := stream.(*os.File); ok && term.IsTerminal(int(file.Fd())) {
		return file
	}
	return nil
}

// width is how many columns stdout has, 0 when it is no terminal.
func (c console) width() int {
	file := terminal(c.env.stdout)
	if file == nil {
		return 0
	}
	columns, _, err := term.GetSize(int(file.Fd()))
	if err != nil {
		return 0
	}
	return columns
}

// colourful tells whether to use colours and bold face on stdout (no-color.org).
func (c console) colourful() bool {
	return terminal(c.env.stdout) != nil && c.env.getenv("NO_COLOR") == "" && c.env.getenv("TERM") != "dumb"
}

// The styles of ECMA-48 in use.
const (
	bold   = "1"
	red    = "31"
	green  = "32"
	yellow = "33"
)

func styled(text, style string) string {
	if style == "" {
		return text
	}
	return "\x1b[" + style + "m" + text + "\x1b[0m"
}
