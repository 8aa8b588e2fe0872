package db_test

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"testing"

	"laneward/db"
)

// beforeTheRules were shipped before there were rules: their tables were empty.
var beforeTheRules = []string{
	"00001_people.sql", "00002_records.sql", "00003_feed.sql", "00004_retention.sql",
}

// TestMigrationsKeepTheRules holds what a migration of a database in use may do: wait only so long
// for a lock, and hold none while it reads or rewrites a table.
func TestMigrationsKeepTheRules(t *testing.T) {
	t.Parallel()
	shipped := readShipped(t)
	names, err := fs.Glob(db.Migrations(), "*.sql")
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	for _, name := range names {
		text, err := fs.ReadFile(db.Migrations(), name)
		if err != nil {
			t.Fatal(err)
		}
		exempt := slices.Contains(beforeTheRules, name) && fmt.Sprintf("%x", sha256.Sum256(text)) == shipped[name]
		for _, fault := range migrationFaults(string(text)) {
			if !exempt {
				t.Errorf("%s: %s", name, fault)
			}
		}
	}
}

var (
	lineComment  = regexp.MustCompile(`(?m)--.*$`)
	body         = regexp.MustCompile(`(?s)\$(\w*)\$.*?\$\w*\$`) // of a function: it runs later
	lockTimeout  = regexp.MustCompile(`(?i)^SET (LOCAL )?lock_timeout\s*(=|TO)`)
	createTable  = regexp.MustCompile(`(?i)^CREATE TABLE (?:IF NOT EXISTS )?(\w+)`)
	createIndex  = regexp.MustCompile(`(?i)^CREATE (?:UNIQUE )?INDEX (CONCURRENTLY )?.*? ON (?:ONLY )?(\w+)`)
	alterTable   = regexp.MustCompile(`(?i)^ALTER TABLE (?:IF EXISTS )?(?:ONLY )?(\w+)`)
	notAtOnce    = regexp.MustCompile(`(?i)\b(gen_random_uuid|uuid_generate_v\d|random|clock_timestamp|timeofday|nextval)\s*\(`)
	addsWithNull = regexp.MustCompile(`(?i)\bADD COLUMN\b[^,]*\bNOT NULL\b`)
)

// migrationFaults says what a migration does to tables that are in use, and should not. A table that
// it makes itself has no rows and no readers.
func migrationFaults(text string) (faults []string) {
	transaction := !strings.Contains(text, "-- +goose NO TRANSACTION")
	fresh := make(map[string]bool)
	for i, statement := range statements(text) {
		if i == 0 && !lockTimeout.MatchString(statement) {
			faults = append(faults, "begin with SET LOCAL lock_timeout (without a transaction, SET): others queue behind a lock that waits")
		}
		if made := createTable.FindStringSubmatch(statement); made != nil {
			fresh[made[1]] = true
		}
		if index := createIndex.FindStringSubmatch(statement); index != nil && !fresh[index[2]] {
			if index[1] == "" || transaction {
				faults = append(faults, "build the index on "+index[2]+
					" with CREATE INDEX CONCURRENTLY, in a migration of its own with -- +goose NO TRANSACTION")
			}
		}
		if altered := alterTable.FindStringSubmatch(statement); altered != nil && !fresh[altered[1]] {
			for _, fault := range alterFaults(strings.ToUpper(statement), statement) {
				faults = append(faults, altered[1]+": "+fault)
			}
		}
	}
	return faults
}

func alterFaults(upper, statement string) (faults []string) {
	constraint := strings.Contains(upper, "ADD CONSTRAINT") || strings.Contains(upper, "ADD FOREIGN KEY") ||
		strings.Contains(upper, "ADD CHECK") || strings.Contains(upper, "ADD UNIQUE") || strings.Contains(upper, "ADD PRIMARY KEY")
	column := strings.Contains(upper, "ADD COLUMN")
	switch {
	case constraint && !strings.Contains(upper, "NOT VALID") && !strings.Contains(upper, "USING INDEX"):
		faults = append(faults, "add the constraint NOT VALID (a key USING INDEX) and VALIDATE it in a later migration")
	case column && regexp.MustCompile(`\b(REFERENCES|CHECK|UNIQUE|PRIMARY KEY)\b`).MatchString(upper) && !constraint:
		faults = append(faults, "add the column alone, and its constraint NOT VALID after it")
	case column && addsWithNull.MatchString(statement) && !strings.Contains(upper, "DEFAULT"):
		faults = append(faults, "a column that is NOT NULL needs a DEFAULT for the rows there are")
	}
	if column && notAtOnce.MatchString(statement) {
		faults = append(faults, "a default that differs from row to row rewrites the table: add the column without, then fill it")
	}
	if regexp.MustCompile(`ALTER (COLUMN )?\w+ (SET DATA )?TYPE\b`).MatchString(upper) {
		faults = append(faults, "a new type rewrites the table: add another column and fill it")
	}
	if regexp.MustCompile(`ALTER (COLUMN )?\w+ SET NOT NULL`).MatchString(upper) {
		faults = append(faults, "SET NOT NULL reads the whole table: add a CHECK NOT VALID instead")
	}
	return faults
}

// statements are a migration's statements, without comments and bodies of functions, on one line
// each.
func statements(text string) (found []string) {
	text, _, _ = strings.Cut(text, "-- +goose Down")
	text = body.ReplaceAllString(lineComment.ReplaceAllString(text, ""), "''")
	for part := range strings.SplitSeq(text, ";") {
		if part = strings.Join(strings.Fields(part), " "); part != "" {
			found = append(found, part)
		}
	}
	return found
}

func TestMigrationFaults(t *testing.T) {
	t.Parallel()
	const limit = "-- +goose Up\nSET LOCAL lock_timeout = '3s';\n"
	for name, tc := range map[string]struct {
		text string
		says string // part of the one fault; "" for none
	}{
		"no limit":                        {"-- +goose Up\nALTER TABLE shots ADD COLUMN lane integer;", "lock_timeout"},
		"a column":                        {limit + "ALTER TABLE shots ADD COLUMN lane integer;", ""},
		"a column with a constant":        {limit + "ALTER TABLE shots ADD COLUMN lane integer NOT NULL DEFAULT 0;", ""},
		"a column of the day":             {limit + "ALTER TABLE shots ADD COLUMN at timestamptz NOT NULL DEFAULT now();", ""},
		"a column that differs":           {limit + "ALTER TABLE shots ADD COLUMN key uuid DEFAULT gen_random_uuid();", "rewrites"},
		"a column without a value":        {limit + "ALTER TABLE shots ADD COLUMN lane integer NOT NULL;", "DEFAULT"},
		"a column with a check":           {limit + "ALTER TABLE shots ADD COLUMN lane integer CHECK (lane > 0);", "NOT VALID"},
		"a reference":                     {limit + "ALTER TABLE shots ADD COLUMN lane_id uuid REFERENCES lanes;", "NOT VALID"},
		"a check":                         {limit + "ALTER TABLE shots ADD CONSTRAINT lane CHECK (lane > 0);", "NOT VALID"},
		"a check for later":               {limit + "ALTER TABLE shots ADD CONSTRAINT lane CHECK (lane > 0) NOT VALID;", ""},
		"a check on a table of its own":   {limit + "CREATE TABLE lanes (id uuid);\nALTER TABLE lanes ADD CONSTRAINT n CHECK (n > 0);", ""},
		"a key":                           {limit + "ALTER TABLE shots ADD UNIQUE (squad_id, lane);", "USING INDEX"},
		"a key by an index":               {limit + "ALTER TABLE shots ADD CONSTRAINT k UNIQUE USING INDEX shots_lane;", ""},
		"an index":                        {limit + "CREATE INDEX shots_lane ON shots (lane);", "CONCURRENTLY"},
		"an index in a transaction":       {limit + "CREATE INDEX CONCURRENTLY shots_lane ON shots (lane);", "NO TRANSACTION"},
		"an index while others write":     {"-- +goose NO TRANSACTION\n-- +goose Up\nSET lock_timeout = '3s';\nCREATE UNIQUE INDEX CONCURRENTLY a ON shots (lane);", ""},
		"an index of a table of its own":  {limit + "CREATE TABLE lanes (id uuid);\nCREATE INDEX lanes_id ON lanes (id);", ""},
		"a type":                          {limit + "ALTER TABLE shots ALTER COLUMN lane TYPE bigint;", "type"},
		"never null":                      {limit + "ALTER TABLE shots ALTER COLUMN lane SET NOT NULL;", "SET NOT NULL"},
		"what a function does is no word": {limit + "CREATE FUNCTION f() RETURNS void AS $$ ALTER TABLE shots ALTER a TYPE text; $$ LANGUAGE sql;", ""},
		"a comment":                       {limit + "-- CREATE INDEX a ON shots (b);", ""},
	} {
		t.Run(name, func(t *testing.T) {
			faults := migrationFaults(tc.text)
			if tc.says == "" && len(faults) > 0 {
				t.Errorf("refused: %q", faults)
			}
			if tc.says != "" && (len(faults) != 1 || !strings.Contains(faults[0], tc.says)) {
				t.Errorf("got %q, want one fault with %q", faults, tc.says)
			}
		})
	}
}
