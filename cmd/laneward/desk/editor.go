package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"

	"laneward/cmd/laneward/terminal"
)

// readBody reads a record that was written out: JSON, or the name of a file that holds it.
func readBody(env terminal.Environment, text string) ([]byte, error) {
	body := []byte(text)
	if !strings.HasPrefix(strings.TrimSpace(text), "{") {
		var err error
		if body, err = env.ReadInput(text); err != nil {
			return nil, err
		}
	}
	return body, checkObject(body)
}

func checkObject(body []byte) error {
	var object map[string]json.RawMessage
	err := json.Unmarshal(body, &object)
	if err == nil && object == nil {
		err = errors.New("it is null")
	}
	if err != nil {
		return fmt.Errorf("that is not a JSON record, so nothing was changed: %w", err)
	}
	return nil
}

// edit lets the person change a record in their editor.
func edit(ctx context.Context, env terminal.Environment, body []byte) (changed []byte, err error) {
	if body == nil {
		return nil, terminal.Usage("this change deletes a record: there is nothing to fix; discard it with --drop")
	}
	editor := env.Getenv("VISUAL")
	if editor == "" {
		editor = env.Getenv("EDITOR")
	}
	if editor == "" {
		return nil, terminal.Usage("neither VISUAL nor EDITOR names your editor: set one, or give the record with --body")
	}
	var indented bytes.Buffer
	if err := json.Indent(&indented, body, "", "  "); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	file, err := os.CreateTemp("", "laneward-*.json")
	if err != nil {
		return nil, fmt.Errorf("make a file to edit: %w", err)
	}
	defer func() { err = errors.Join(err, os.Remove(file.Name())) }()
	_, err = file.Write(append(indented.Bytes(), '\n'))
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, fmt.Errorf("make a file to edit: %w", err)
	}
	words := strings.Fields(editor)
	run := exec.CommandContext(
		ctx,
		words[0],
		append(words[1:], file.Name())...)
	run.Stdin, run.Stdout, run.Stderr = env.Stdin, env.Stdout, env.Stderr
	if err := run.Run(); err != nil {
		return nil, fmt.Errorf("the editor %s failed, so nothing was changed: %w", editor, err)
	}
	if changed, err = os.ReadFile(file.Name()); err != nil {
		return nil, fmt.Errorf("read what was edited: %w", err)
	}
	return changed, checkObject(changed)
}
