package bay

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"io"
	"log"
	"mime"
	"net"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"
)

// policy lets the page load its own style and script and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard stands before every address: the Host must be this page's, a request
// that changes something must come from this page, and the answer must not be
// kept, framed, or read as anything else.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, s.words.say("fault origin"), http.StatusForbidden)
	}))
	checked := cross.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !s.isOurs(r) {
			http.Error(w, s.words.say("fault host"), http.StatusMisdirectedRequest)
			return
		}
		checked.ServeHTTP(w, r)
	})
}

// isOurs reports whether the request asks for this page by a name that is
// its own: not by one that somebody's name server points here.
func (s *Server) isOurs(r *http.Request) bool {
	host, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		host, port = r.Host, ""
	}
	host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
	local, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if local == nil {
		return false
	}
	localHost, localPort, err := net.SplitHostPort(local.String())
	if err != nil || port != "" && port != localPort {
		return false
	}
	if ip := net.ParseIP(host); ip != nil {
		return ip.Equal(net.ParseIP(localHost))
	}
	return host == "localhost" || s.opt.LAN && slices.Contains(s.opt.Names, host)
}

// A call is one request with the device that it came from.
type call struct {
	s      *Server
	w      http.ResponseWriter
	r      *http.Request
	device Device
	token  string
	files  []upload // that came with the form
}

// tokenFits reports whether the form was drawn for this device.
func (c *call) tokenFits() bool {
	return subtle.ConstantTimeCompare([]byte(c.r.PostFormValue("token")), []byte(c.token)) == 1
}

// cookieName: the prefix binds the cookie to this host and to TLS (RFC 6265bis).
func (s *Server) cookieName() string {
	if s.opt.LAN {
		return "__Host-hvproof-bay"
	}
	return "hvproof-bay"
}

func (s *Server) setCookie(w http.ResponseWriter, value string) {
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: value, Path: "/", HttpOnly: true, Secure: s.opt.LAN,
		SameSite: http.SameSiteStrictMode, MaxAge: int((30 * 24 * time.Hour).Seconds())})
}

// serve finds the device of a request, checks a form's token, and lets f
// answer.
func (s *Server) serve(w http.ResponseWriter, r *http.Request, f func(*call)) {
	c := &call{s: s, w: w, r: r}
	cookie := ""
	if k, err := r.Cookie(s.cookieName()); err == nil {
		cookie = k.Value
	}
	known := false
	if c.device, known = s.devices.of(cookie); known {
		c.token = s.devices.token(cookie)
	}
	posted := r.Method == http.MethodPost
	switch {
	case r.URL.Path == "/pair":
	case !known && s.opt.LAN && r.Method == http.MethodGet && r.URL.Path != "/events":
		http.Redirect(w, r, "/pair", http.StatusSeeOther)
		return
	case !known && (s.opt.LAN || posted || r.URL.Path == "/events"):
		c.failPage(s.desk.fault(http.StatusForbidden, "fault unknown device"))
		return
	case !known: // on the machine itself a browser is let in by itself
		var err error
		if c.device, cookie, err = s.devices.add(s.words.say("device here")); err != nil {
			c.failPage(faultOf(err))
			return
		}
		c.token = s.devices.token(cookie)
		s.setCookie(w, cookie)
	}
	if posted {
		defer c.discard()
		err := c.readForm()
		if err == nil && known && !c.tokenFits() {
			err = errToken
		}
		if err != nil {
			c.failPage(s.formFault(err))
			return
		}
	}
	f(c)
}

// formFault says why a form was not taken.
func (s *Server) formFault(err error) *fault {
	switch {
	case errors.Is(err, errToken):
		return s.desk.fault(http.StatusForbidden, "fault token")
	case errors.Is(err, errForm):
		return s.desk.fault(http.StatusRequestEntityTooLarge, "fault form")
	}
	return faultOf(err)
}

// asset sends the style or the script; a browser keeps it as long as it is
// the same.
func (s *Server) asset(w http.ResponseWriter, r *http.Request, name string) {
	b, err := pages.ReadFile("page/" + name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	sum := sha256.Sum256(b)
	tag := `"` + hex.EncodeToString(sum[:8]) + `"`
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("ETag", tag)
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	_, _ = w.Write(b)
}

// quietLog keeps what browsers do wrong with TLS off the terminal, where the
// pairing code stands.
func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }
