package offline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"laneward/cmd/laneward/terminal"
	"laneward/service/oil"
)

// ReadFilm reads the film in a file, - for stdin: a film map as JSON in oil units or as CSV in
// microlitres, or a load table as CSV, whose film is laid. name is what to call it; "" takes the
// film's own name, else the file's. The error says in which file and row the faults are.
func ReadFilm(env terminal.Environment, path, name string) (*oil.Film, error) {
	return readFilm(env, path, name, func(name string, text []byte) (*oil.Film, error) {
		header, _, _ := bytes.Cut(text, []byte("\n"))
		names := func(column string) bool { return bytes.Contains(bytes.ToLower(header), []byte(column)) }
		switch {
		case bytes.HasPrefix(bytes.TrimSpace(text), []byte("{")):
			film := new(oil.Film)
			return film, json.Unmarshal(text, film)
		case names(oil.LoadColumns[0]):
			return readLoads(name, text)
		case names("board"):
			return oil.ReadFilmCSV(name, bytes.NewReader(text))
		}
		return nil, errNotFilm
	})
}

var errNotFilm = fmt.Errorf(
	"it is not a film map or a load table: write a film map as JSON, or as CSV with the header board, ft_0 to ft_59; "+
		"or a load table as CSV with the header %s",
	strings.Join(oil.LoadColumns, ","),
)

func readLoads(name string, text []byte) (*oil.Film, error) {
	table, err := oil.ReadTableCSV(name, bytes.NewReader(text))
	if err != nil {
		return nil, err
	}
	return table.Film()
}

func readFilm(
	env terminal.Environment,
	path, name string,
	read func(name string, text []byte) (*oil.Film, error),
) (*oil.Film, error) {
	text, err := env.ReadInput(path)
	if err != nil {
		return nil, err
	}
	called := name
	if called == "" && path != "-" {
		called = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	}
	film, err := read(called, text)
	if err != nil {
		return nil, InFile(path, err)
	}
	if name != "" || film.Name == "" {
		film.Name = called
	}
	return film, nil
}

// InFile says in which file the faults are, a line each.
func InFile(path string, err error) error {
	var faults oil.Faults
	if errors.As(err, &faults) {
		return fmt.Errorf(
			"%s needs fixing (row 1 is the first below the header):\n  %s",
			path,
			strings.ReplaceAll(faults.Error(), "\n", "\n  "),
		)
	}
	return fmt.Errorf("%s: %w", path, err)
}
