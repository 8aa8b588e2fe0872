package main

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

// settings makes a flag that is not on the command line take its value from its environment variable, else from the configuration file. The
// file is JSON; a key is the variable's name in lower case without the program's, such as {"server": "https://example.org"}.
func settings(env environment) kong.Option {
	return kong.OptionFunc(func(k *kong.Kong) error {
		file, err := readSettings(filepath.Join(configDir(env), "config.json"))
		if err != nil {
			return err
		}
		return errors.Join(
			// The parser itself would read the process's environment, which is not always the run's.
			kong.PostBuild(func(k *kong.Kong) error { return adopt(k.Model.Node, file) }).Apply(k),
			kong.ValueFormatter(helpWithVariable).Apply(k),
			kong.Resolvers(kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
				for _, name := range flag.Envs {
					if text := env.getenv(name); text != "" {
						return text, nil
					}
					if value, ok := file.values[settingKey(name)]; ok {
						return value, nil
					}
				}
				return nil, nil //nolint:nilnil // the parser's way of saying that there is no value
			})).Apply(k),
		)
	})
}

// configDir is where a person's settings and sign-ins are: the XDG configuration directory.
func configDir(env environment) string {
	if dir := env.getenv("XDG_CONFIG_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "laneward")
	}
	return filepath.Join(env.getenv("HOME"), ".config", "laneward")
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

// adopt takes the variables away from the parser, and refuses a key of the file that no flag has.
func adopt(root *kong.Node, file settingsFile) error {
	known := make(map[string]bool)
	var walk func(*kong.Node)
	walk = func(node *kong.Node) {
		for _, flag := range node.Flags {
			flag.Tag.Envs = nil
			for _, name := range flag.Envs {
				known[settingKey(name)] = true
			}
		}
		for _, child := range node.Children {
			walk(child)
		}
	}
	walk(root)
	for key := range file.values {
		if !known[key] {
			names := strings.Join(slices.Sorted(maps.Keys(known)), ", ")
			return fmt.Errorf("the configuration %s has %q, which is no setting: there is %s", file.path, key, names)
		}
	}
	return nil
}

// helpWithVariable writes a flag's help with the variable that can stand for it.
func helpWithVariable(value *kong.Value) string {
	if value.Flag == nil || len(value.Flag.Envs) == 0 {
		return value.Help
	}
	return strings.TrimSpace(value.Help + " ($" + strings.Join(value.Flag.Envs, ", $") + ")")
}
