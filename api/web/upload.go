package web

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"path"
	"strings"

	"laneward/service"
	"laneward/service/record"
	"laneward/service/shot"
)

// isLog reports whether a request brings a file.
func isLog(r *http.Request) bool {
	media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && media == "multipart/form-data"
}

// uploadView is what became of a log.
type uploadView struct {
	File                            string
	Rows                            int
	Stored, Same, Refused, Conflict int
	Faulty                          []faultyRow
	MoreFaulty                      int // rows with something to fix beyond those shown
}

// faultyRow is a row of a log that was not stored, and how to fix it.
type faultyRow struct {
	Row    int
	Status service.Status
	Faults []rowFault
}

type rowFault struct{ Column, Detail string }

// maxFaultyRows is how many rows with something to fix are shown at once: the rest is mostly wrong
// in the same way.
const maxFaultyRows = 200

func uploadForm(r *roster, session *record.Session) *form {
	f := &form{
		Action: r.Address() + "/sessions/" + session.ID.String() + "/logs", Submit: "Upload",
		Inputs: []*input{
			{
				Name:     "log",
				Label:    "Practice log",
				Type:     "file",
				Required: true,
				Hint: "CSV from a spreadsheet, NDJSON or JSON, plain or gzip, up to 10,000 shots. Uploading " +
					"the same file again stores nothing twice.",
			},
		},
	}
	if session.AthleteID == nil && r.Own.Athlete == nil {
		athletes := []option{{"", "Named in each row of the log"}}
		for _, a := range r.Athletes {
			athletes = append(athletes, option{a.ID.String(), a.Name})
		}
		f.Inputs = append(f.Inputs, &input{Name: "athlete_id", Label: "Who bowled?", Options: athletes})
	}
	if len(r.Drills) > 0 {
		drills := []option{{"", "No specific drill"}}
		for _, d := range r.Drills {
			drills = append(drills, option{d.ID.String(), d.Name})
		}
		f.Inputs = append(f.Inputs, &input{Name: "drill_id", Label: "Thrown for the drill", Options: drills})
	}
	return f
}

func uploadLog(v *visit) error {
	r, err := v.asLogger(record.KindAthlete, record.KindDrill)
	if err != nil {
		return err
	}
	id, err := v.id("session")
	if err != nil {
		return err
	}
	found, err := v.site.svc.Get(v.Context(), v.me.ID, r.Own.ID, record.KindSession, id)
	if err != nil {
		return err
	}
	f := uploadForm(r, found.(*record.Session))
	file, head, err := v.logFile()
	if err != nil {
		return err
	}
	defer func() { _ = v.MultipartForm.RemoveAll() }() // left to the system's clean-up when it fails
	if file == nil {
		f.blame("log", "is required; choose the log file")
	} else {
		defer file.Close() //nolint:errcheck // only read
	}
	for _, in := range f.Inputs[1:] {
		in.Value = v.FormValue(in.Name)
	}
	log := service.Log{Session: id}
	if athlete := f.id("athlete_id"); athlete != nil {
		log.Athlete = *athlete
	}
	if drill := f.id("drill_id"); drill != nil {
		log.Drill = *drill
	}
	show := func(status int, f *form) error { return v.showSession(status, f, nil) }
	if f.faulty() {
		return show(http.StatusBadRequest, f)
	}
	if log.Format, log.Body, err = formatOf(head.Filename, file); err != nil {
		return v.retry(f, err, show)
	}
	result, err := v.site.svc.Upload(v.Context(), v.me.ID, r.Own.ID, log)
	if err != nil {
		return v.retry(f, err, show)
	}
	return v.showSession(http.StatusOK, nil, uploadViewOf(head.Filename, log.Format, result))
}

// logFile is the file that was sent; nil when none was chosen.
func (v *visit) logFile() (multipart.File, *multipart.FileHeader, error) {
	const inMemory = 4 << 20
	err := v.ParseMultipartForm(inMemory)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return nil, nil, &service.Error{
			Code:   service.TooLarge,
			Detail: "the log is larger than 32 MB: split it between two rows and upload the parts one at a time",
		}
	case err != nil:
		return nil, nil, &service.Error{
			Code:   service.Invalid,
			Detail: "the file did not arrive complete: choose it and upload it again",
		}
	}
	file, head, err := v.FormFile("log")
	if errors.Is(err, http.ErrMissingFile) || err == nil && head.Filename == "" {
		return nil, nil, nil
	}
	return file, head, err
}

// formatOf returns a log's format by the name of its file, and unpacks gzip. Where the name does
// not say, the first character of the log does.
func formatOf(name string, file io.Reader) (service.LogFormat, io.Reader, error) {
	name = strings.ToLower(name)
	if strings.HasSuffix(name, ".gz") {
		unpacked, err := gzip.NewReader(file)
		if err != nil {
			return "", nil, &service.Error{
				Code:   service.Invalid,
				Detail: "the file is named .gz but is not gzip: upload it uncompressed, or compress it again",
			}
		}
		file, name = unpacked, strings.TrimSuffix(name, ".gz")
	}
	switch path.Ext(name) {
	case ".csv", ".tsv", ".txt":
		return service.LogCSV, file, nil
	case ".ndjson", ".jsonl":
		return service.LogNDJSON, file, nil
	case ".json":
		return service.LogJSON, file, nil
	case ".xlsx", ".xls", ".ods", ".numbers":
		return "", nil, &service.Error{
			Code:   service.Invalid,
			Detail: "this is a spreadsheet file: save it as CSV (UTF-8) and upload that",
		}
	}
	head := make([]byte, 1)
	n, err := io.ReadFull(file, head)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", nil, err
	}
	body := io.MultiReader(bytes.NewReader(head[:n]), file)
	switch {
	case n == 1 && head[0] == '{':
		return service.LogNDJSON, body, nil
	case n == 1 && head[0] == '[':
		return service.LogJSON, body, nil
	}
	return service.LogCSV, body, nil
}

func uploadViewOf(file string, format service.LogFormat, result service.UploadResult) *uploadView {
	view := &uploadView{File: file, Rows: len(result.Outcomes)}
	for _, row := range result.Outcomes {
		switch row.Status {
		case service.StatusStored:
			view.Stored++
			continue
		case service.StatusSame:
			view.Same++
			continue
		case service.StatusConflict:
			view.Conflict++
		default:
			view.Refused++
		}
		if len(view.Faulty) == maxFaultyRows {
			view.MoreFaulty++
			continue
		}
		faulty := faultyRow{Row: row.Row, Status: row.Status}
		for _, fault := range row.Faults {
			faulty.Faults = append(faulty.Faults, rowFault{columnOf(fault.Pointer, format), fault.Detail})
		}
		view.Faulty = append(view.Faulty, faulty)
	}
	return view
}

// columnOf names the place of a fault as the log does: by the column of a CSV log, else by the
// field.
func columnOf(pointer string, format service.LogFormat) string {
	field := strings.TrimPrefix(pointer, "/")
	if format != service.LogCSV {
		return field
	}
	for _, column := range shot.Columns() {
		if field == column.Field || strings.HasPrefix(field, column.Field+"/") {
			return column.Name
		}
	}
	return field
}
