package synctest

import (
	"maps"
	"reflect"
	"slices"
)

// model is the rules of sync, said once more and independently of the server: one sequence of
// changes, one state.
type model struct {
	rev int64
	of  map[key][]version // every version of each record, oldest first; the last one stands
}

// version is what a record says from a revision on; is is nil where it was deleted. base and sent
// are what the change asked for.
type version struct {
	rev, base int64
	is, sent  fields
}

// who acts or looks; the zero value is no member.
type who struct{ role, athlete string }

var kinds = []string{
	"squad",
	"athlete",
	"member",
	"pattern",
	"ball",
	"session",
	"drill",
	"assignment",
	"shot",
} // parents before children

var parentOf = map[string]string{
	"athlete_id": "athlete",
	"pattern_id": "pattern",
	"ball_id":    "ball",
	"session_id": "session",
	"drill_id":   "drill",
}

func owner(k key, is fields) string {
	if k.kind == "athlete" {
		return k.id
	}
	id, _ := is["athlete_id"].(string)
	return id
}

func (m *model) now(k key) (v version) {
	if past := m.of[k]; len(past) > 0 {
		return past[len(past)-1]
	}
	return v
}

// said is what a record says, or said before it was deleted.
func (m *model) said(k key) fields {
	for _, v := range slices.Backward(m.of[k]) {
		if v.is != nil {
			return v.is
		}
	}
	return nil
}

func parents(is fields) (list []key) {
	for name, kind := range parentOf {
		if id, ok := is[name].(string); ok {
			list = append(list, key{kind, id})
		}
	}
	return list
}

// newParents are those that a record did not have before.
func (m *model) newParents(k key, is fields) []key {
	before := parents(m.now(k).is)
	return slices.DeleteFunc(parents(is), func(p key) bool { return slices.Contains(before, p) })
}

// foreign reports whether a shot is made to name a session, a ball or a drill that is not its athlete's,
// among what stands and what comes with it.
func (m *model) foreign(k key, shot fields, next map[key]version) bool {
	then := func(k key) fields {
		if v, comes := next[k]; comes {
			return v.is
		}
		return m.now(k).is
	}
	return slices.ContainsFunc(m.newParents(k, shot), func(p key) bool {
		switch whose := owner(p, then(p)); p.kind {
		case "session", "ball":
			return whose != "" && whose != shot["athlete_id"]
		case "drill":
			given := func(k key) bool {
				is := then(k)
				return k.kind == "assignment" && is["drill_id"] == p.id && is["athlete_id"] == shot["athlete_id"]
			}
			return !slices.ContainsFunc(slices.Collect(maps.Keys(m.of)), given) && !slices.ContainsFunc(slices.Collect(maps.Keys(next)), given)
		}
		return false
	})
}

// sees reports what stands and is for the reader: coach and analyst see everything; an athlete the
// own records, what the squad shares and the drills assigned to them.
func (m *model) sees(by who, k key) bool {
	is := m.now(k).is
	switch {
	case is == nil || by.role == "":
		return false
	case by.role != "athlete" || k.kind == "squad" || k.kind == "pattern":
		return true
	case k.kind == "session" && owner(k, is) == "":
		return true
	case k.kind == "drill":
		for other := range m.of {
			given := m.now(other).is
			if other.kind == "assignment" && given["drill_id"] == k.id && given["athlete_id"] == by.athlete {
				return true
			}
		}
		return false
	}
	return owner(k, is) == by.athlete
}

// may tells whether somebody may change a record: a coach all, an analyst nothing, an athlete the
// own shots, sessions, balls and entry.
func (m *model) may(by who, it item) bool {
	if by.role != "athlete" {
		return by.role == "coach"
	}
	k, said := it.key(), m.said(it.key())
	if said != nil && owner(k, said) != by.athlete {
		return false
	}
	if k.kind == "athlete" {
		return m.now(k).is != nil && !it.Deleted
	}
	return slices.Contains([]string{"shot", "session", "ball"}, k.kind) &&
		(it.Deleted || owner(k, it.content()) == by.athlete)
}

func (m *model) copy() *model {
	c := &model{rev: m.rev, of: make(map[key][]version, len(m.of))}
	for k, versions := range m.of {
		c.of[k] = slices.Clone(versions)
	}
	return c
}

// push settles one piece, in which each record appears once: deletions first, children before
// parents; then what is written, once its parents are there. given are the revisions the server
// gave. It returns what ought to become of each item.
func (m *model) push(by who, items []item, given []int64) []string {
	statuses, next := make([]string, len(items)), make(map[key]version)
	for i, it := range items {
		is := fields(nil)
		if statuses[i], is = m.decide(by, it); statuses[i] == "stored" {
			next[it.key()] = version{given[i], it.Rev, is, it.content()}
		}
	}
	for _, kind := range slices.Backward(kinds) {
		for i, it := range items {
			if v, ok := next[it.key()]; !ok || !it.Deleted || it.Kind != kind {
				continue
			} else if statuses[i] = "conflict"; !m.used(it.key()) {
				statuses[i] = "stored"
				m.write(it.key(), v)
			}
			delete(next, it.key())
		}
	}
	for again := true; again; {
		again = false
		for i, it := range items {
			if v, ok := next[it.key()]; ok &&
				slices.ContainsFunc(
					m.newParents(it.key(), v.is),
					func(p key) bool { _, comes := next[p]; return !comes && !m.sees(by, p) },
				) {
				delete(next, it.key())
				statuses[i], again = "waiting", true
			}
		}
	}
	for i, it := range items {
		if v, ok := next[it.key()]; ok && it.Kind == "shot" && m.foreign(it.key(), v.is, next) {
			delete(next, it.key())
			statuses[i] = "refused"
		}
	}
	for k, v := range next {
		m.write(k, v)
	}
	return statuses
}

// decide settles one change, and says what is to be written: facts never conflict, a payload stored
// before is the same, an edit is merged field by field into what came since its base, a deletion
// against an edit is a conflict.
func (m *model) decide(by who, it item) (string, fields) {
	k, now, want := it.key(), m.now(it.key()), it.content()
	known, stands := len(m.of[k]) > 0, now.is != nil
	switch {
	case !m.may(by, it), it.Deleted && !known && !it.lost:
		return "refused", nil
	case it.Deleted && !stands:
		return "same", nil
	case it.Deleted && it.lost:
		return "conflict", nil
	case it.Deleted && it.Rev != now.rev:
		return "conflict", nil
	case it.Deleted:
		return "stored", nil
	case known && owner(k, m.said(k)) != owner(k, want):
		return "refused", nil // a record stays with its athlete
	case stands && reflect.DeepEqual(now.is, want):
		return "same", nil
	case it.lost && known: // nothing is overwritten by what is of another history
		return "conflict", nil
	case it.lost: // but what a restore has lost is stored again
		return "stored", want
	case it.Rev == now.rev: // of nothing, of what stands or of its deletion
		return "stored", want
	case !known:
		return "refused", nil
	case m.storedSince(k, it.Rev, want):
		return "same", nil
	case !stands || it.Rev == 0:
		return "conflict", nil
	}
	return m.merge(k, it.Rev, want)
}

// storedSince tells that the very change was stored and replaced since, so that to store it again
// would undo what came after.
func (m *model) storedSince(k key, base int64, want fields) bool {
	return slices.ContainsFunc(m.of[k], func(v version) bool {
		return v.rev > base && reflect.DeepEqual(v.sent, want) && (v.base == base || reflect.DeepEqual(v.sent, v.is))
	})
}

func (m *model) merge(k key, base int64, want fields) (string, fields) {
	at := slices.IndexFunc(m.of[k], func(v version) bool { return v.rev == base && v.is != nil })
	if at < 0 {
		return "conflict", nil
	}
	merged, ok := mergeFields(m.of[k][at].is, want, m.now(k).is)
	if !ok {
		return "conflict", nil
	}
	if reflect.DeepEqual(merged, m.now(k).is) {
		return "same", nil
	}
	return "stored", merged
}

// mergeFields takes each field from whoever changed it; ok is false when both did, to different
// values.
func mergeFields(was, mine, theirs fields) (merged fields, ok bool) {
	merged = make(fields)
	for _, side := range []fields{was, mine, theirs} {
		for name := range side {
			value := theirs[name]
			switch {
			case reflect.DeepEqual(theirs[name], was[name]):
				value = mine[name]
			case !reflect.DeepEqual(mine[name], was[name]) && !reflect.DeepEqual(mine[name], theirs[name]):
				return nil, false
			}
			if value != nil {
				merged[name] = value
			}
		}
	}
	return merged, true
}

// used tells that something that stands refers to a record.
func (m *model) used(k key) bool {
	for other := range m.of {
		if slices.Contains(parents(m.now(other).is), k) {
			return true
		}
	}
	return false
}

func (m *model) write(k key, v version) {
	if v.sent == nil {
		v.sent = v.is
	}
	m.of[k] = append(m.of[k], v)
	m.rev = max(m.rev, v.rev)
}

// at is what a record said at a revision of its own.
func (m *model) at(k key, rev int64) (is fields, ok bool) {
	for _, v := range m.of[k] {
		if v.rev == rev {
			return v.is, true
		}
	}
	return nil, false
}

// member is what somebody is in the squad.
func (m *model) member(user string) (who, key) {
	for k := range m.of {
		if is := m.now(k).is; k.kind == "member" && is["user_id"] == user {
			role, _ := is["role"].(string)
			return who{role, owner(k, is)}, k
		}
	}
	return who{}, key{}
}

// changes is what a feed owes a reader after a revision, in order: what they see, and the deletions
// of what was theirs or the squad's. A member who was the same athlete as the reader before is told
// to be dropped.
func (m *model) changes(by who, after int64) (list []item) {
	for k := range m.of {
		now := m.now(k)
		switch of := owner(k, m.said(k)); {
		case now.rev <= after:
		case m.sees(by, k):
			list = append(list, item{Kind: k.kind, ID: k.id, Rev: now.rev, Record: now.is})
		case k.kind == "member" && now.is != nil && slices.ContainsFunc(m.of[k], func(v version) bool { return v.is["athlete_id"] == by.athlete }):
			list = append(list, item{Kind: k.kind, ID: k.id, Rev: now.rev, Scope: "removed"})
		case now.is == nil && (k.kind == "member" || by.role != "athlete" || of == "" || of == by.athlete):
			list = append(list, item{Kind: k.kind, ID: k.id, Rev: now.rev, Deleted: true})
		}
	}
	slices.SortFunc(list, func(a, b item) int { return int(a.Rev - b.Rev) })
	return list
}
