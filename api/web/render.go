package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"slices"

	"laneward/api/web/dates"
	"laneward/api/web/logger"
	"laneward/service"
	"laneward/service/advice"
	"laneward/service/picture"
	"laneward/service/record"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static/*
var staticFiles embed.FS

// frame is what every page has around its own content.
type frame struct {
	Title  string
	Page   any // the data of the page's own template
	Crumbs []crumb
	Squad  *record.Squad // the squad the page is about, to mark an invented one
	Status int
	Me     *service.Person
	Here   string // the page's own address
	// Passkeys offers to sign in with one.
	Passkeys bool
}

// crumb is one step of the way down to a page.
type crumb struct{ Name, Address string }

// pages are the parsed templates by name: each is the layout, the shared parts and one page.
type pages map[string]*template.Template

// partNames are the templates that several pages share.
var partNames = []string{
	"templates/layout.html",
	"templates/parts.html",
	"templates/lineparts.html",
	"templates/filmparts.html",
}

func loadPages(files assets, form dates.Form) (pages, error) {
	names, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("find the pages: %w", err)
	}
	functions := wordFunctions()
	functions["asset"] = files.address
	functions["docFields"] = docFields
	shared, err := template.New("").Funcs(functions).Funcs(dateFunctions(form)).ParseFS(templateFiles, partNames...)
	if err != nil {
		return nil, fmt.Errorf("read the pages' layout: %w", err)
	}
	loaded := make(pages)
	for _, name := range names {
		if slices.Contains(partNames, name) {
			continue
		}
		page, err := shared.Clone()
		if err == nil {
			page, err = page.ParseFS(templateFiles, name)
		}
		if err != nil {
			return nil, fmt.Errorf("read page %s: %w", name, err)
		}
		base := path.Base(name)
		loaded[base[:len(base)-len(".html")]] = page
	}
	return loaded, nil
}

// pagesFor returns the pages with days in a reader's form, parsed when they are first asked for.
func (s *site) pagesFor(form dates.Form) (pages, error) {
	s.loading.Lock()
	defer s.loading.Unlock()
	if loaded, ok := s.pages[form.Language]; ok {
		return loaded, nil
	}
	loaded, err := loadPages(s.assets, form)
	if err == nil {
		s.pages[form.Language] = loaded
	}
	return loaded, err
}

// show writes a complete page, or none of it.
func (v *visit) show(status int, name string, f frame) error {
	f.Me, f.Status, f.Here = v.me, status, v.URL.Path
	return v.write(status, name, "layout", f)
}

// write fills one template of a page.
func (v *visit) write(status int, page, part string, data any) error {
	pages, err := v.site.pagesFor(v.dates)
	if err != nil {
		return err
	}
	loaded, ok := pages[page]
	if !ok {
		return fmt.Errorf("there is no template of page %q", page)
	}
	var body bytes.Buffer
	if err := loaded.ExecuteTemplate(&body, part, data); err != nil {
		return fmt.Errorf("write page %s: %w", page, err)
	}
	v.send(status, "text/html; charset=utf-8", body.Bytes())
	return nil
}

func (v *visit) send(status int, contentType string, body []byte) {
	v.w.Header().Set("Content-Type", contentType)
	v.w.WriteHeader(status)
	if v.Method == http.MethodHead {
		return
	}
	if _, err := v.w.Write(body); err != nil {
		v.site.log.WarnContext(v.Context(), "page not sent", "err", err)
	}
}

// drawing draws the picture that a visit asks for.
type drawing func(v *visit) (picture.Scene, error)

// svgPage answers with a picture alone, to save or to embed in a page.
func svgPage(draw drawing) page {
	return func(v *visit) error {
		scene, err := draw(v)
		if err != nil {
			return err
		}
		v.send(http.StatusOK, "image/svg+xml", scene.SVG())
		return nil
	}
}

func pngPage(draw drawing) page {
	return func(v *visit) error {
		scene, err := draw(v)
		if err != nil {
			return err
		}
		var body bytes.Buffer
		if err := scene.WritePNG(&body, advice.PNGScale); err != nil {
			return err
		}
		v.send(http.StatusOK, "image/png", body.Bytes())
		return nil
	}
}

// assets are the style, the script and the sign, under addresses that change with what is in them,
// so that a browser may keep them.
type assets map[string]asset

type asset struct {
	body    []byte
	version string
}

func loadAssets() (assets, error) {
	entries, err := fs.ReadDir(staticFiles, "static")
	if err != nil {
		return nil, fmt.Errorf("find the static files: %w", err)
	}
	files := make(assets, len(entries)+1)
	keep := func(name string, body []byte) {
		sum := sha256.Sum256(body)
		files[name] = asset{body, base64.RawURLEncoding.EncodeToString(sum[:9])}
	}
	keep("base.css", logger.BaseStyle)
	for _, entry := range entries {
		body, err := staticFiles.ReadFile("static/" + entry.Name())
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", entry.Name(), err)
		}
		keep(entry.Name(), body)
	}
	return files, nil
}

func (a assets) address(name string) (string, error) {
	file, ok := a[name]
	if !ok {
		return "", fmt.Errorf("there is no static file %q", name)
	}
	return "/static/" + name + "?v=" + file.version, nil
}

func (a assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	if name == "" {
		name = "sign.svg"
	}
	file, ok := a[name]
	if !ok {
		http.NotFound(w, r)
		return
	}
	keep := "no-cache"
	if r.URL.Query().Get("v") == file.version {
		keep = "public, max-age=31536000, immutable"
	}
	w.Header().Set("Cache-Control", keep)
	w.Header().Set("ETag", `"`+file.version+`"`)
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	if r.Header.Get("If-None-Match") == `"`+file.version+`"` {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	if r.Method != http.MethodHead {
		_, _ = w.Write(file.body) // a client that hung up needs no stylesheet
	}
}
