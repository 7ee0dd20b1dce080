package bay

import (
	"bytes"
	"context"
	"crypto/tls"
	"embed"
	"encoding/hex"
	"errors"
	"html/template"
	"net"
	"net/http"
	"strings"
	"time"
)

//go:embed page
var pages embed.FS

// A Server serves the page for one car.
type Server struct {
	opt     Options
	words   *Wording
	devices *devices
	codes   *limit
	desk    *desk
	changes *changes
	pages   map[string]*template.Template
	handler http.Handler
}

// New makes the page for a car. A run that is open is taken up again: the
// state of the car comes first.
func New(car Car, opt Options) (*Server, error) {
	s := &Server{opt: opt, words: opt.Wording}
	if s.words == nil {
		s.words = BuiltInWording()
	}
	var err error
	if s.devices, err = openDevices(opt.Dir, opt.Random, opt.Now); err != nil {
		return nil, err
	}
	boot, err := s.devices.bytes(6)
	if err != nil {
		return nil, err
	}
	s.changes = newChanges(hex.EncodeToString(boot))
	s.codes = newLimit(10, time.Minute, opt.Now)
	s.desk = &desk{car: car, words: s.words, devices: s.devices, now: opt.Now, wrong: newLimit(5, time.Minute, opt.Now)}
	if m := car.History().Open(); m != nil {
		m.Interrupted()
	}
	if s.pages, err = parsePages(s.words); err != nil {
		return nil, err
	}
	s.handler = s.guard(s.routes())
	return s, nil
}

// Handler gives the page with all its guards.
func (s *Server) Handler() http.Handler { return s.handler }

// routes names every address of the page.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for pattern, f := range map[string]func(*call){
		"GET /{$}": s.ready, "GET /run": s.run, "GET /run/steps": s.steps, "GET /stop": s.stopPage,
		"POST /run/answer": s.answer, "POST /run/unlock": s.unlock, "POST /run/lock": s.lock, "POST /run/leave": s.leave,
		"POST /run/note": s.note, "POST /stop": s.stop, "GET /file/{digest}": s.file, "GET /waveform/{run}/{entry}": s.waveform, "GET /trace/{run}/{entry}": s.trace,
		"GET /procedures": s.procedures, "GET /procedures/{id}": s.procedure,
		"GET /begin/{id}": s.beginPage, "POST /begin/{id}": s.begin,
		"GET /items/{id}": s.itemPage, "POST /items/{id}": s.closeItem,
		"GET /work": s.works, "GET /permits": s.permits,
		"GET /paper/{what}": s.paper, "POST /paper/{what}": s.fill, "GET /paper/{what}/{of}": s.paper, "POST /paper/{what}/{of}": s.fill,
		"GET /limits": s.limits, "GET /readings": s.readings, "GET /readings/{procedure}/{path}": s.reading,
		"GET /people": s.peoplePage, "POST /people/code": s.code, "POST /people/out": s.throwOut,
		"GET /pair": s.pairPage, "POST /pair": s.pair, "GET /events": s.events,
	} {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) { s.serve(w, r, f) })
	}
	for _, name := range []string{"bay.css", "bay.js"} {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, r *http.Request) { s.asset(w, r, name) })
	}
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.serve(w, r, func(c *call) { c.failPage(s.desk.fault(http.StatusNotFound, "fault no page")) })
	})
	return mux
}

// Serve serves the page on a listener until the context ends. With a
// certificate it is TLS. HTTP/2 is off: one page for a few tablets gains
// nothing by it.
func (s *Server) Serve(ctx context.Context, l net.Listener, certificate *tls.Certificate) error {
	var only http.Protocols
	only.SetHTTP1(true)
	srv := &http.Server{
		Handler: s.handler, Protocols: &only, BaseContext: func(net.Listener) context.Context { return ctx },
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: time.Minute, WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 32 << 10, ErrorLog: quietLog(),
	}
	if certificate != nil {
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{*certificate}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	go s.watch(ctx)
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return machine(err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	err := srv.Shutdown(last)
	if errors.Is(err, context.DeadlineExceeded) {
		err = srv.Close()
	}
	return err
}

// watch locks an idle operator's key although no page is asked for.
func (s *Server) watch(ctx context.Context) {
	tick := time.NewTicker(15 * time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			s.desk.mu.Lock()
			swept := s.desk.sweep()
			s.desk.mu.Unlock()
			if swept {
				s.changes.happened()
			}
		}
	}
}

// parsePages reads the templates; each page is laid out by layout.html.
func parsePages(w *Wording) (map[string]*template.Template, error) {
	functions := template.FuncMap{
		"t": w.T, "maybe": w.maybe,
		"spaced": func(s string) string { return strings.ReplaceAll(s, "_", " ") },
		"join":   strings.Join,
		"hours":  w.hours,
		"next":   func(i int) int { return i + 1 },
		"lines":  func(s string) []string { return strings.Split(s, "\n") },
	}
	out := map[string]*template.Template{}
	names, err := pages.ReadDir("page")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		name, ok := strings.CutSuffix(n.Name(), ".html")
		if !ok || name == "layout" || name == "parts" {
			continue
		}
		t, err := template.New("layout.html").Funcs(functions).ParseFS(pages, "page/layout.html", "page/parts.html", "page/"+n.Name())
		if err != nil {
			return nil, err
		}
		out[name] = t
	}
	return out, nil
}

// hours gives minutes as people plan with them: "47 min", "15 h 34 min".
func (w *Wording) hours(minutes int) string {
	if minutes < 60 {
		return w.say("minutes", "n", minutes)
	}
	return w.say("hours", "h", minutes/60, "n", minutes%60)
}

// render draws a page as a whole before a byte of it is sent: half a page
// could be taken for a whole one.
func (s *Server) render(name string, data any) ([]byte, error) {
	var b bytes.Buffer
	err := s.pages[name].Execute(&b, data)
	return b.Bytes(), err
}
