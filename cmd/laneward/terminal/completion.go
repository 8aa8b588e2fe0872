package terminal

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// completionScripts have a shell ask the program itself what may come next, so that they never go
// out of date.
var completionScripts = map[string]string{
	"bash": `_laneward() {
    local IFS=$'\n'
    COMPREPLY=($(laneward complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null))
}
complete -o default -F _laneward laneward
`,
	"zsh": `#compdef laneward
_laneward() {
    local -a found
    found=(${(f)"$(laneward complete -- "${(@)words[2,CURRENT]}" 2>/dev/null)"})
    if (( ${#found} )); then compadd -- $found; else _files; fi
}
compdef _laneward laneward
`,
	"fish": `function __laneward_complete
    set -l words (commandline -opc) (commandline -ct)
    set -l found (laneward complete -- $words[2..-1] 2>/dev/null)
    if set -q found[1]
        printf '%s\n' $found
    else
        __fish_complete_path (commandline -ct)
    end
end
complete -c laneward -f -a '(__laneward_complete)'
`,
}

// CompletionCommand prints a completion script.
type CompletionCommand struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

func (CompletionCommand) Help() string {
	return `Examples:

    source <(laneward completion bash)      # in ~/.bashrc
    source <(laneward completion zsh)       # in ~/.zshrc, after compinit
    laneward completion fish | source       # in ~/.config/fish/config.fish`
}

// Run prints the script.
func (c *CompletionCommand) Run(env Environment) error {
	return Console{Env: env}.Print(completionScripts[c.Shell])
}

// CompleteCommand is what such a script asks.
type CompleteCommand struct {
	Words []string `arg:"" optional:"" passthrough:"" help:"The words after the program's name; the last is being typed."`
}

// Run prints one candidate a line.
func (c *CompleteCommand) Run(env Environment, k *kong.Kong, known Predictions) error {
	words := c.Words
	if len(words) > 0 && words[0] == "--" {
		words = words[1:]
	}
	if len(words) == 0 {
		words = []string{""}
	}
	var b strings.Builder
	for _, candidate := range known.candidates(k.Model.Node, words[:len(words)-1], words[len(words)-1]) {
		fmt.Fprintln(&b, candidate)
	}
	return Console{Env: env}.Print(b.String())
}

// Predictions are the words that a flag or argument with a tag such as predict:"kinds" takes, by
// the tag's value.
type Predictions map[string]func() []string

// candidates are the completions of typed, after words, in alphabetical order. None means
// that a file's or a free name comes next.
func (known Predictions) candidates(root *kong.Node, words []string, typed string) []string {
	node, positional := root, 0
	var wants *kong.Flag // the flag whose value comes next
	for _, w := range words {
		switch {
		case wants != nil:
			wants = nil
		case strings.HasPrefix(w, "-"):
			if flag := flagCalled(node, w); flag != nil && !flag.IsBool() && !strings.Contains(w, "=") {
				wants = flag
			}
		default:
			if child := childCalled(node, w); child != nil {
				node = child
			} else {
				positional++
			}
		}
	}
	var all []string
	switch {
	case wants != nil:
		all = known.valuesOf(wants.Value)
	case strings.HasPrefix(typed, "-"):
		for _, flag := range flagsOf(node) {
			all = append(all, "--"+flag.Name)
		}
	case positional < len(node.Positional):
		all = known.valuesOf(node.Positional[positional])
	default:
		for _, child := range node.Children {
			if !child.Hidden {
				all = append(all, child.Name)
			}
		}
	}
	all = slices.DeleteFunc(
		all,
		func(candidate string) bool { return candidate == "" || !strings.HasPrefix(candidate, typed) },
	)
	slices.Sort(all)
	return slices.Compact(all)
}

func flagsOf(node *kong.Node) []*kong.Flag {
	var flags []*kong.Flag
	for ; node != nil; node = node.Parent {
		flags = append(flags, node.Flags...)
	}
	return slices.DeleteFunc(flags, func(flag *kong.Flag) bool { return flag.Hidden })
}

func flagCalled(node *kong.Node, w string) *kong.Flag {
	name, _, _ := strings.Cut(w, "=")
	for _, flag := range flagsOf(node) {
		if name == "--"+flag.Name || flag.Short != 0 && name == "-"+string(flag.Short) {
			return flag
		}
	}
	return nil
}

func childCalled(node *kong.Node, name string) *kong.Node {
	for _, child := range node.Children {
		if child.Name == name {
			return child
		}
	}
	return nil
}

// valuesOf are the words a flag or argument takes, when they are few and known.
func (known Predictions) valuesOf(value *kong.Value) []string {
	if words, ok := known[value.Tag.Get("predict")]; ok {
		return words()
	}
	if value.Enum == "" {
		return nil
	}
	return value.EnumSlice()
}
