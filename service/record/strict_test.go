package record_test

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"laneward/service/record"
)

func TestCheckJSON(t *testing.T) {
	for name, tc := range map[string]struct{ json, says string }{
		"an item":                      {`{"kind":"ball","record":{"name":"a \"b\" \\","weight_lb":15},"rev":3}`, ""},
		"the same name in two objects": {`[{"a":1},{"a":1,"b":{"a":[{"a":1}]}}]`, ""},
		"a name that is a value":       {`{"a":"a","b":["a","a"]}`, ""},
		"a whole pair":                 {`{"a":"\ud83c\udfb3"}`, ""},
		"not JSON":                     {`{"a":`, ""},
		"too many ends":                {`}]}{"a"`, ""},
		"twice":                        {`{"a":1,"b":[{"c":1}],"a":2}`, "/a is given twice"},
		"twice, once escaped":          {`{"a":1,"\u0061":2}`, "/a is given twice"},
		"twice below":                  {`{"b":[0,{"a":1,"a":2}]}`, "/a is given twice"},
		"another case":                 {`{"record":{"Name":1}}`, "/Name is not a field here"},
		"a letter that folds":          {`{"\u212aind":1}`, "is not a field here"},
		"bytes that are no text":       {"{\"a\":\"\xff\"}", "is not UTF-8"},
		"a first half":                 {`{"a":"\ud83c"}`, "half a character"},
		"a second half":                {`{"a":"\udfb3"}`, "half a character"},
		"two first halves":             {`{"a":"\ud83c\ud83c"}`, "half a character"},
		"a first half, then text":      {`{"a":"\ud83cxudfb3"}`, "half a character"},
		"an escaped backslash":         {`{"a":"\\ud83c"}`, ""},
		"very many fields":             {`{` + manyFields(201) + `}`, "more than 200 fields"},
		"many fields":                  {`{` + manyFields(200) + `}`, ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := ""
			for _, fault := range record.CheckJSON([]byte(tc.json)) {
				got = strings.TrimSpace(fault.Pointer + " " + fault.Detail)
			}
			if (tc.says == "") != (got == "") || !strings.Contains(got, tc.says) {
				t.Errorf("%q, want %q", got, tc.says)
			}
		})
	}
}

func manyFields(n int) string {
	fields := make([]string, n)
	for i := range fields {
		fields[i] = `"f` + strings.Repeat("x", i) + `":1`
	}
	return strings.Join(fields, ",")
}

// What encoding/json writes of any value with the contract's names has nothing wrong.
func TestCheckJSONTakesAllThatIsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fields := rapid.MapOf(rapid.StringMatching(`[a-z][a-z0-9_]{0,9}`), rapid.Map(rapid.String(), func(s string) string {
			return strings.ToValidUTF8(s, "?")
		}))
		value := rapid.SliceOf(fields).Draw(t, "value")
		data, err := json.Marshal(map[string]any{"items": value})
		if err != nil {
			t.Fatal(err)
		}
		if faults := record.CheckJSON(data); len(faults) > 0 {
			t.Fatalf("%s: %v", data, faults)
		}
	})
}

func FuzzCheckJSON(f *testing.F) {
	f.Add([]byte(`{"a":"\ud83c\u0041","b":[{}]}`))
	f.Add([]byte(`"\u`))
	f.Add([]byte(`}{"\\`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if faults := record.CheckJSON(data); len(faults) > 1 {
			t.Errorf("%d faults", len(faults))
		}
	})
}

func TestNames(t *testing.T) {
	for name, tc := range map[string]struct{ name, says string }{
		"plain":                      {"Anna Lüders", ""},
		"right to left":              {"דנה לוי", ""},
		"a joined emoji":             {"👩‍👧", ""},
		"Persian with a non-joiner":  {"می\u200cخواهم", ""},
		"empty":                      {"", "can be seen"},
		"blanks":                     {" \t", "can be seen"},
		"one zero-width space":       {"\u200b", "can be seen"},
		"joiners and marks of order": {"\u200d\u200e\ufeff", "can be seen"},
		"a Hangul filler":            {"\u3164", "can be seen"},
		"a direction override":       {"Anna\u202erof", "U+202E"},
		"an isolate":                 {"Anna\u2067x", "U+2067"},
		"a control character":        {"Anna\x07", "U+0007"},
	} {
		t.Run(name, func(t *testing.T) {
			got := ""
			for _, fault := range record.NameFaults(tc.name) {
				got += fault.Detail + "\n"
			}
			if (tc.says == "") != (got == "") || !strings.Contains(got, tc.says) {
				t.Errorf("%q, want %q", got, tc.says)
			}
		})
	}
}
