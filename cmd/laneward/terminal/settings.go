package terminal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Settings makes a flag that is not on the command line take its value from its environment
// variable, else from the configuration file. The file is JSON; a key is the variable's name in
// lower case without the program's, such as {"server": "https://example.org"}.
func Settings(env Environment) kong.Option {
	return kong.OptionFunc(func(k *kong.Kong) error {
		file, err := readSettings(filepath.Join(ConfigDir(env), "config.json"))
		if err != nil {
			return err
		}
		variables := make(map[*kong.Value][]string)
		return errors.Join(
			kong.PostBuild(func(k *kong.Kong) error {
				takeVariables(k.Model.Node, variables)
				return file.check(variables)
			}).Apply(k),
			kong.ValueFormatter(func(value *kong.Value) string { return helpWithVariables(value, variables[value]) }).
				Apply(k),
			kong.Resolvers(kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
				for _, name := range variables[flag.Value] {
					if text := env.Getenv(name); text != "" {
						return text, nil
					}
					if value, ok := file.values[settingKey(name)]; ok {
						return value, nil
					}
				}
				return nil, nil
			})).Apply(k),
		)
	})
}

// settingsFile is the configuration file as read.
type settingsFile struct {
	path   string
	values map[string]any
}

func readSettings(path string) (settingsFile, error) {
	file := settingsFile{path: path}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) || len(bytes.TrimSpace(text)) == 0 && err == nil {
		return file, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &file.values)
	}
	if err != nil {
		return file, fmt.Errorf("the configuration %s cannot be read: %w", path, err)
	}
	return file, nil
}

func settingKey(variable string) string {
	return strings.ToLower(strings.TrimPrefix(variable, "LANEWARD_"))
}

// takeVariables removes the environment variables from the parser, which would read the process's
// environment: the run's may be another.
func takeVariables(node *kong.Node, variables map[*kong.Value][]string) {
	for _, flag := range node.Flags {
		if len(flag.Tag.Envs) > 0 {
			variables[flag.Value] = flag.Tag.Envs
			flag.Tag.Envs = nil
		}
	}
	for _, child := range node.Children {
		takeVariables(child, variables)
	}
}

// check refuses a key that is not a flag's.
func (f settingsFile) check(variables map[*kong.Value][]string) error {
	known := make(map[string]bool)
	for _, names := range variables {
		for _, name := range names {
			known[settingKey(name)] = true
		}
	}
	for key := range f.values {
		if !known[key] {
			names := strings.Join(slices.Sorted(maps.Keys(known)), ", ")
			return fmt.Errorf("the configuration %s has %q, which is not a setting; use one of %s", f.path, key, names)
		}
	}
	return nil
}

// helpWithVariables writes a flag's help with the variables that can set it.
func helpWithVariables(value *kong.Value, names []string) string {
	if len(names) == 0 {
		return value.Help
	}
	return strings.TrimSpace(value.Help + " ($" + strings.Join(names, ", $") + ")")
}
