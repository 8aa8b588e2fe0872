// Package logger serves the offline logger: a page an athlete installs on a phone or a laptop, that
// logs shots without a network and sends them when there is one. It is a folder of static files
// that speaks the contract like any other client, and a module of the program's own judging, which
// deploy/module builds.
package logger

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"laneward/api/web/dates"
)

//go:embed page
var embedded embed.FS

// BaseStyle is the part of the style sheet that the pages share.
//
//go:embed page/base.css
var BaseStyle []byte

// Root is the address the page lives under; its service worker controls nothing else.
const Root = "/logger/"

const (
	worker   = "sw.js" // the service worker, which is given the version and the names of all the others
	homePage = "index.html"

	datesScript = "dateforms.js" // the table of the forms of dates, which the pages read too

	moduleScript = "module.js"     // where the module is, or null
	moduleFile   = "laneward.wasm" // cmd/laneward-phone, embedded packed
	supportFile  = "wasm_exec.js"  // what a Go program needs in a browser, from the Go distribution
	packed       = ".gz"
)

// HasModule reports whether the program was built with the module. Without it the page asks the
// server to judge.
func HasModule() bool {
	_, err := fs.Stat(embedded, path.Join("page", moduleFile+packed))
	return err == nil
}

// mediaTypes are those of the page's files. The machine's own table is not used, so that the answer
// is the same everywhere.
var mediaTypes = map[string]string{
	".css":         "text/css; charset=utf-8",
	".html":        "text/html; charset=utf-8",
	".js":          "text/javascript; charset=utf-8",
	".png":         "image/png",
	".svg":         "image/svg+xml",
	".wasm":        "application/wasm",
	".webmanifest": "application/manifest+json",
}

// file is one file of the page, ready to be sent.
type file struct {
	body   []byte
	media  string
	etag   string
	packed bool // the body is packed by gzip, which every browser unpacks
}

// Handler serves the page under [Root]. It reads no cookie and no database: the API checks who may
// read what.
func Handler() http.Handler { return handler(HasModule()) }

func handler(withModule bool) http.Handler {
	files := load(withModule)
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+Root+"{name...}", func(w http.ResponseWriter, r *http.Request) {
		name := r.PathValue("name")
		if name == "" {
			name = homePage
		}
		found, ok := files[name]
		if !ok {
			http.NotFound(w, r)
			return
		}
		found.serve(w, r)
	})
	mux.Handle("GET "+path.Clean(Root), http.RedirectHandler(Root, http.StatusPermanentRedirect))
	return mux
}

// serve sends a file, or answers that the browser's copy is current. It is requested every time, so
// that a new version is seen at once.
func (f file) serve(w http.ResponseWriter, r *http.Request) {
	header := w.Header()
	header.Set("Content-Type", f.media)
	header.Set("ETag", f.etag)
	header.Set("Cache-Control", "no-cache")
	header.Set("X-Content-Type-Options", "nosniff")
	header.Set("Content-Security-Policy", allowModule(header.Get("Content-Security-Policy")))
	if f.packed {
		header.Set("Content-Encoding", "gzip")
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.body))
}

// allowModule lets the page compile the module, which the policy of the other pages forbids.
func allowModule(policy string) string {
	return strings.Replace(policy, "script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'", 1)
}

// load reads the embedded files and lists them in the service worker. A file that cannot be read is
// a build error.
func load(withModule bool) map[string]file {
	files := make(map[string]file)
	entries, err := fs.ReadDir(embedded, "page")
	if err != nil {
		panic(fmt.Sprintf("logger: %v", err))
	}
	for _, entry := range entries {
		body, err := fs.ReadFile(embedded, path.Join("page", entry.Name()))
		if err != nil {
			panic(fmt.Sprintf("logger: %v", err))
		}
		name, isPacked := strings.CutSuffix(entry.Name(), packed)
		media, ok := mediaTypes[path.Ext(name)]
		if !ok {
			panic(fmt.Sprintf("logger: no media type is known for %s", entry.Name()))
		}
		files[name] = file{body: body, media: media, etag: tag(body), packed: isPacked}
	}
	if !withModule {
		delete(files, moduleFile)
		delete(files, supportFile)
	}
	for name, script := range map[string][]byte{datesScript: dates.Script(), moduleScript: tellModule(withModule)} {
		files[name] = file{body: script, media: mediaTypes[".js"], etag: tag(script)}
	}
	told := tellWorker(files)
	files[worker] = file{body: told, media: files[worker].media, etag: tag(told)}
	return files
}

// tellModule writes where the module is.
func tellModule(there bool) []byte {
	if !there {
		return []byte("export const module = null;\n")
	}
	return fmt.Appendf(nil, "export const module = { program: %q, support: %q };\n", Root+moduleFile, Root+supportFile)
}

// tellWorker writes the names of all files and a version that changes with any of them into the
// service worker: a new version is fetched as a whole.
func tellWorker(files map[string]file) []byte {
	names := []string{}
	for name := range files {
		if name != worker {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	version := sha256.New()
	version.Write(files[worker].body)
	addresses := make([]string, len(names))
	for i, name := range names {
		version.Write([]byte(name))
		version.Write(files[name].body)
		addresses[i] = Root + name
		if name == homePage {
			addresses[i] = Root
		}
	}
	list, err := json.Marshal(addresses)
	if err != nil {
		panic(fmt.Sprintf("logger: %v", err))
	}
	told := bytes.Replace(
		files[worker].body,
		[]byte("{{version}}"),
		[]byte(hex.EncodeToString(version.Sum(nil)[:8])),
		1,
	)
	return bytes.Replace(told, []byte("{{files}}"), list, 1)
}

func tag(body []byte) string {
	sum := sha256.Sum256(body)
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}
