// Package dates writes days in the form of the reader's language: the pages by the language a
// browser asks for, the offline logger by its own. Both take the forms of this one table.
package dates

import (
	"cmp"
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Form is how a language writes a day. {w} is the weekday, {d} the day, {m} the month, {y} the year.
type Form struct {
	Language   string `json:"language"` // a tag such as "de" or "en-US"
	Short      string `json:"short"`    // without the weekday
	Long       string `json:"long"`     // with it
	Months     string `json:"months"`   // January to December, separated by spaces
	DaysOfWeek string `json:"days"`     // Sunday to Saturday, separated by spaces
}

// forms begins with the form for readers whose language is not known. The forms are those of the
// Unicode CLDR 48 (https://cldr.unicode.org), medium length, September in English as "Sep".
var forms = []Form{
	{
		"en", "{d} {m} {y}", "{w}, {d} {m} {y}",
		"Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec", "Sun Mon Tue Wed Thu Fri Sat",
	},
	{
		"en-US", "{m} {d}, {y}", "{w}, {m} {d}, {y}",
		"Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec", "Sun Mon Tue Wed Thu Fri Sat",
	},
	{
		"de", "{d}. {m} {y}", "{w}, {d}. {m} {y}",
		"Jan. Feb. März Apr. Mai Juni Juli Aug. Sept. Okt. Nov. Dez.", "So. Mo. Di. Mi. Do. Fr. Sa.",
	},
	{
		"fr", "{d} {m} {y}", "{w} {d} {m} {y}",
		"janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.", "dim. lun. mar. mer. jeu. ven. sam.",
	},
	{
		"es", "{d} {m} {y}", "{w}, {d} {m} {y}",
		"ene feb mar abr may jun jul ago sept oct nov dic", "dom lun mar mié jue vie sáb",
	},
	{
		"it", "{d} {m} {y}", "{w} {d} {m} {y}",
		"gen feb mar apr mag giu lug ago set ott nov dic", "dom lun mar mer gio ven sab",
	},
	{
		"pt", "{d} de {m} de {y}", "{w}, {d} de {m} de {y}",
		"jan. fev. mar. abr. mai. jun. jul. ago. set. out. nov. dez.", "dom. seg. ter. qua. qui. sex. sáb.",
	},
	{
		"nl", "{d} {m} {y}", "{w} {d} {m} {y}",
		"jan feb mrt apr mei jun jul aug sep okt nov dec", "zo ma di wo do vr za",
	},
	{
		"sv", "{d} {m} {y}", "{w} {d} {m} {y}",
		"jan. feb. mars apr. maj juni juli aug. sep. okt. nov. dec.", "sön mån tis ons tors fre lör",
	},
	{
		"da", "{d}. {m} {y}", "{w} {d}. {m} {y}",
		"jan. feb. mar. apr. maj jun. jul. aug. sep. okt. nov. dec.", "søn. man. tirs. ons. tors. fre. lør.",
	},
	{
		"nb", "{d}. {m} {y}", "{w} {d}. {m} {y}",
		"jan. feb. mars apr. mai juni juli aug. sep. okt. nov. des.", "søn. man. tir. ons. tor. fre. lør.",
	},
	{
		"fi", "{d}.{m}.{y}", "{w} {d}.{m}.{y}",
		"1 2 3 4 5 6 7 8 9 10 11 12", "su ma ti ke to pe la",
	},
	{
		"pl", "{d} {m} {y}", "{w}, {d} {m} {y}",
		"sty lut mar kwi maj cze lip sie wrz paź lis gru", "niedz. pon. wt. śr. czw. pt. sob.",
	},
	{
		"cs", "{d}. {m}. {y}", "{w} {d}. {m}. {y}",
		"1 2 3 4 5 6 7 8 9 10 11 12", "ne po út st čt pá so",
	},
	{
		"ja", "{y}年{m}月{d}日", "{y}年{m}月{d}日({w})",
		"1 2 3 4 5 6 7 8 9 10 11 12", "日 月 火 水 木 金 土",
	},
	{
		"zh", "{y}年{m}月{d}日", "{y}年{m}月{d}日{w}",
		"1 2 3 4 5 6 7 8 9 10 11 12", "周日 周一 周二 周三 周四 周五 周六",
	},
	{
		"ko", "{y}년 {m} {d}일", "{y}년 {m} {d}일 ({w})",
		"1월 2월 3월 4월 5월 6월 7월 8월 9월 10월 11월 12월", "일 월 화 수 목 금 토",
	},
}

// For picks the form for the languages of an Accept-Language header, the one wanted most first. A
// language without a form of its own takes the one it belongs to, such as "de" for "de-AT"; without
// any the form is English.
func For(acceptLanguage string) Form {
	type wish struct {
		tag    string
		weight float64
	}
	var wishes []wish
	for item := range strings.SplitSeq(acceptLanguage, ",") {
		tag, parameter, _ := strings.Cut(item, ";")
		weight := 1.0
		if q, ok := strings.CutPrefix(strings.TrimSpace(parameter), "q="); ok {
			value, err := strconv.ParseFloat(q, 64)
			if err != nil || !(value > 0) {
				continue
			}
			weight = value
		}
		wishes = append(wishes, wish{strings.TrimSpace(tag), weight})
	}
	slices.SortStableFunc(wishes, func(a, b wish) int { return cmp.Compare(b.weight, a.weight) })
	for _, w := range wishes {
		if form, ok := find(w.tag); ok {
			return form
		}
	}
	return forms[0]
}

// find looks up a language tag, then what it begins with.
func find(tag string) (Form, bool) {
	base, _, _ := strings.Cut(tag, "-")
	for _, name := range []string{tag, base} {
		if at := slices.IndexFunc(forms, func(f Form) bool { return strings.EqualFold(f.Language, name) }); at >= 0 {
			return forms[at], true
		}
	}
	return Form{}, false
}

// Day writes a day, such as "29 Nov 2026".
func (f Form) Day(day time.Time) string { return f.write(f.Short, day) }

// Weekday writes a day with its weekday, such as "Sun, 29 Nov 2026".
func (f Form) Weekday(day time.Time) string { return f.write(f.Long, day) }

func (f Form) write(pattern string, day time.Time) string {
	return strings.NewReplacer(
		"{w}", strings.Fields(f.DaysOfWeek)[day.Weekday()],
		"{d}", strconv.Itoa(day.Day()),
		"{m}", strings.Fields(f.Months)[day.Month()-1],
		"{y}", strconv.Itoa(day.Year()),
	).Replace(pattern)
}

// HTML is a day's text as an element that also says the day to machines, and the language to a
// screen reader.
func (f Form) HTML(text, machine string) template.HTML {
	return template.HTML(fmt.Sprintf(`<time datetime="%s" lang="%s">%s</time>`, //nolint:gosec // all three are escaped
		template.HTMLEscapeString(machine), f.Language, template.HTMLEscapeString(text)))
}

// Script is a JavaScript module that exports the table as forms.
func Script() []byte {
	table, err := json.Marshal(forms)
	if err != nil {
		panic(fmt.Sprintf("dates: %v", err)) // strings alone cannot fail
	}
	return []byte("export const forms = " + string(table) + ";\n")
}
