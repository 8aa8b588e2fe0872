package record

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestMergeFields(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		base, mine, theirs, want string
		met                      []string
	}{
		"neither changed":          {`{"a":1}`, `{"a":1}`, `{"a":1}`, `{"a":1}`, nil},
		"mine only":                {`{"a":1,"b":1}`, `{"a":2,"b":1}`, `{"a":1,"b":1}`, `{"a":2,"b":1}`, nil},
		"theirs only":              {`{"a":1,"b":1}`, `{"a":1,"b":1}`, `{"a":1,"b":2}`, `{"a":1,"b":2}`, nil},
		"different fields":         {`{"a":1,"b":1}`, `{"a":2,"b":1}`, `{"a":1,"b":2}`, `{"a":2,"b":2}`, nil},
		"the same field alike":     {`{"a":1}`, `{"a":2}`, `{"a":2}`, `{"a":2}`, nil},
		"the same field otherwise": {`{"a":1}`, `{"a":2}`, `{"a":3}`, `{"a":3}`, []string{"a"}},
		"mine removed":             {`{"a":1,"b":1}`, `{"b":1}`, `{"a":1,"b":2}`, `{"b":2}`, nil},
		"theirs removed":           {`{"a":1,"b":1}`, `{"a":1,"b":2}`, `{"b":1}`, `{"b":2}`, nil},
		"removed and changed":      {`{"a":1}`, `{}`, `{"a":2}`, `{"a":2}`, []string{"a"}},
		"both removed":             {`{"a":1,"b":1}`, `{"b":1}`, `{"b":1}`, `{"b":1}`, nil},
		"both added otherwise":     {`{}`, `{"a":1}`, `{"a":2}`, `{"a":2}`, []string{"a"}},
		"spelt otherwise":          {`{"a":1.50,"c":{"x":1,"y":2}}`, `{"a":1.5,"c":{"y":2,"x":1},"b":1}`, `{"a":15e-1,"c":{"x":1,"y":2},"d":1}`, `{"a":1.5,"b":1,"c":{"x":1,"y":2},"d":1}`, nil},
		"within an object":         {`{"e":{"board":1}}`, `{"e":{"board":1,"angle":1}}`, `{"e":{"board":2}}`, `{"e":{"board":2}}`, []string{"e"}},
		"two fields meet":          {`{"b":1,"a":1}`, `{"b":2,"a":2}`, `{"b":3,"a":3}`, `{"a":3,"b":3}`, []string{"a", "b"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			merged, met, err := MergeFields([]byte(tc.base), []byte(tc.mine), []byte(tc.theirs))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(fieldsOf(t, []byte(tc.want)), fieldsOf(t, merged)); diff != "" {
				t.Errorf("merged (-want +got):\n%s", diff)
			}
			if !slices.Equal(met, tc.met) {
				t.Errorf("met in %v, want %v", met, tc.met)
			}
		})
	}
	if _, _, err := MergeFields([]byte(`{`), []byte(`{}`), []byte(`{}`)); err == nil {
		t.Error("what is no JSON was merged")
	}
}

func fieldsOf(t rapid.TB, data []byte) map[string]any {
	t.Helper()
	var fields map[string]any
	if err := json.Unmarshal(data, &fields); err != nil {
		t.Fatal(err)
	}
	return fields
}

// drawVersion draws a record of up to five fields.
func drawVersion(t *rapid.T, label string) map[string]any {
	value := rapid.SampledFrom([]any{nil, 1.0, 2.0, "x", []any{1.0}, map[string]any{"y": 1.0}})
	return rapid.MapOfN(rapid.SampledFrom([]string{"a", "b", "c", "d", "e"}), value, 0, 5).Draw(t, label)
}

func mergeMaps(t *rapid.T, base, mine, theirs map[string]any) (map[string]any, []string) {
	t.Helper()
	var versions [3][]byte
	for i, v := range []map[string]any{base, mine, theirs} {
		data, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		versions[i] = data
	}
	merged, met, err := MergeFields(versions[0], versions[1], versions[2])
	if err != nil {
		t.Fatal(err)
	}
	return fieldsOf(t, merged), met
}

// TestMergeCommutes: where two edits do not meet, it does not matter whose comes first, and they
// meet in the same fields either way.
func TestMergeCommutes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base, mine, theirs := drawVersion(t, "base"), drawVersion(t, "mine"), drawVersion(t, "theirs")
		one, met := mergeMaps(t, base, mine, theirs)
		other, metOther := mergeMaps(t, base, theirs, mine)
		if !slices.Equal(met, metOther) {
			t.Fatalf("met in %v and %v", met, metOther)
		}
		for _, name := range met {
			delete(one, name)
			delete(other, name)
		}
		if diff := cmp.Diff(one, other); diff != "" {
			t.Fatal(diff)
		}
	})
}

// TestMergeAgain: to merge the same edit into its own result changes nothing.
func TestMergeAgain(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base, mine, theirs := drawVersion(t, "base"), drawVersion(t, "mine"), drawVersion(t, "theirs")
		merged, met := mergeMaps(t, base, mine, theirs)
		again, metAgain := mergeMaps(t, base, mine, merged)
		if diff := cmp.Diff(merged, again); diff != "" || len(met) == 0 && len(metAgain) > 0 {
			t.Fatal(diff, metAgain)
		}
	})
}

// TestMergeKeepsBothEdits: edits of different fields are both in the result, and every other field
// is as it was.
func TestMergeKeepsBothEdits(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base := drawVersion(t, "base")
		mine, theirs, want := maps.Clone(base), maps.Clone(base), maps.Clone(base)
		for _, name := range []string{"a", "b", "c", "d", "e"} {
			whose := rapid.SampledFrom([]map[string]any{mine, theirs, nil}).Draw(t, "whose edit of "+name)
			if whose == nil {
				continue
			}
			if rapid.Bool().Draw(t, "removed "+name) {
				delete(whose, name)
				delete(want, name)
			} else {
				whose[name], want[name] = "edited "+name, "edited "+name
			}
		}
		merged, met := mergeMaps(t, base, mine, theirs)
		if diff := cmp.Diff(want, merged); diff != "" || len(met) > 0 {
			t.Fatalf("met in %v; (-want +got):\n%s", met, diff)
		}
	})
}
