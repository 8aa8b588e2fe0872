package client

import (
	"encoding/base64"
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
)

const someTable = `{"count":2,"id":"AYkKXayWd0u8zrMCCZqAVwGJCl2slndLvM6zAgmagFg=","rev":[7,2],"order":[3,-2],"note":[null,"x \"y\""],"track":[[{"ft":40,"board":9.5}],null]}`

func TestUnfold(t *testing.T) {
	t.Parallel()
	before := Item{Kind: Session, ID: uuid.MustParse(someSquad), Rev: 1, Record: []byte(`{}`)}
	gone := Item{Kind: Shot, ID: uuid.MustParse(someSquad), Rev: 10, Deleted: true}
	got, err := unfold([]Item{before, {Kind: Shot, Table: []byte(someTable)}, gone})
	if err != nil {
		t.Fatal(err)
	}
	a, b := uuid.MustParse(
		"01890a5d-ac96-774b-bcce-b302099a8057",
	), uuid.MustParse(
		"01890a5d-ac96-774b-bcce-b302099a8058",
	)
	want := []Item{
		before,
		{
			Kind:   Shot,
			ID:     a,
			Rev:    7,
			Record: []byte(`{"id":"` + a.String() + `","track":[{"ft":40,"board":9.5}],"order":3,"rev":7}`),
		},
		{Kind: Shot, ID: b, Rev: 9, Record: []byte(`{"id":"` + b.String() + `","note":"x \"y\"","order":1,"rev":9}`)},
		gone,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestUnfoldRefusesWhatIsNoTable(t *testing.T) {
	t.Parallel()
	for name, change := range map[string][2]string{
		"no object":              {someTable, `[]`},
		"more shots than ids":    {`"count":2`, `"count":3`},
		"no count":               {`"count":2,`, ``},
		"an id cut":              {`AYkKXayWd0u8zrMCCZqAVwGJCl2slndLvM6zAgmagFg=`, base64.StdEncoding.EncodeToString(make([]byte, 31))},
		"no base64":              {`AYkK`, `!!!!`},
		"a revision missing":     {`[7,2]`, `[7]`},
		"an order missing":       {`[3,-2]`, `[3]`},
		"a value missing":        {`[null,"x \"y\""]`, `[null]`},
		"a column that is none":  {`[null,"x \"y\""]`, `"x"`},
		"a fraction of an order": {`[3,-2]`, `[3,0.5]`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table := strings.Replace(someTable, change[0], change[1], 1)
			if table == someTable {
				t.Fatal("nothing was changed")
			}
			if _, err := unfold([]Item{{Kind: Shot, Table: []byte(table)}}); CodeOf(err) != NotOurs {
				t.Errorf("%s gives %v", table, err)
			}
		})
	}
}

func FuzzUnfold(f *testing.F) {
	f.Add([]byte(someTable))
	f.Add([]byte(`{"count":1,"id":"AYkKXayWd0u8zrMCCZqAVw==","rev":[7],"order":[3],"\u0000é\"":["x"]}`))
	f.Fuzz(func(t *testing.T, table []byte) {
		items, err := unfold([]Item{{Kind: Shot, Table: table}})
		if err != nil {
			return
		}
		for _, item := range items {
			if !json.Valid(item.Record) {
				t.Errorf("%q gives %q", table, item.Record)
			}
		}
	})
}
