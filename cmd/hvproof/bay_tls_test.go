package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bay"
)

// serveTLS serves a bench's page as --lan does.
func (b *bench) serveTLS() {
	b.t.Helper()
	b.serve()
	old := b.srv
	b.srv = httptest.NewTLSServer(old.Config.Handler)
	old.Close()
}

func (b *bench) deviceTLS() *device {
	d := &device{bench: b, client: &http.Client{Transport: b.srv.Client().Transport, Jar: newJar(b.t)}}
	return d.get("/")
}

// code gives a new pairing code, as the terminal shows it.
func (b *bench) code() string {
	b.t.Helper()
	code, err := b.page.NewCode()
	require.NoError(b.t, err)
	return code
}

func regexpAll(pattern, text string) []string {
	var out []string
	for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
		out = append(out, m[1])
	}
	return out
}

func regexpFind(t *testing.T, pattern, text string) string {
	t.Helper()
	all := regexpAll(pattern, text)
	require.NotEmpty(t, all, "%s is not in\n%s", pattern, text)
	return all[0]
}

// TestBayCommand runs the command itself, over the network's address, with its
// own certificate, and ends it.
func TestBayCommand(t *testing.T) {
	c := newCar(t, t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out, talk := &lockedBuffer{}, &lockedBuffer{}
	done := make(chan int, 1)
	env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }
	go func() {
		done <- program(ctx, []string{"-C", c.dir, "bay", "--lan", "--port", "0"}, strings.NewReader(""), out, talk, env, time.Now)
	}()
	require.Eventually(t, func() bool { return strings.Contains(talk.String(), "end the page") }, 10*time.Second, 10*time.Millisecond, talk.String())
	address := strings.TrimSpace(out.String())
	require.Regexp(t, `^https://[^/]+:\d+$`, address)
	said := talk.String()
	assert.Regexp(t, `pairing code +\d{8} `, said)
	fingerprint := regexpFind(t, `in the browser +([0-9A-F:]{95})`, said)

	_, port, err := net.SplitHostPort(strings.TrimPrefix(address, "https://"))
	require.NoError(t, err)
	conn, err := tls.Dial("tcp", "127.0.0.1:"+port, &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2", "http/1.1"}})
	require.NoError(t, err)
	state := conn.ConnectionState()
	assert.Equal(t, "http/1.1", state.NegotiatedProtocol, "HTTP/2 is off")
	assert.Equal(t, fingerprint, bay.FingerprintHex(sha256.Sum256(state.PeerCertificates[0].Raw)))
	require.NoError(t, conn.Close())
	client := http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	r, err := client.Get("https://127.0.0.1:" + port + "/")
	require.NoError(t, err)
	body, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	r.Body.Close()
	assert.Contains(t, string(body), "Pair this device")
	plain, err := http.Get("http://127.0.0.1:" + port + "/")
	if err == nil {
		plain.Body.Close()
		assert.Equal(t, http.StatusBadRequest, plain.StatusCode, "nothing without TLS")
	}

	second := c.in("bay", "--port", "0")
	second.wantRefusal(t, 4)
	cancel()
	select {
	case code := <-done:
		assert.Equal(t, 0, code, talk.String())
	case <-time.After(10 * time.Second):
		t.Fatal("the page does not end")
	}
	c.grew(0)
	first := fingerprint
	_, f, err := bay.Certificate(c.config+"/bay", nil, nil, rand.Reader, time.Now())
	require.NoError(t, err)
	assert.Equal(t, first, bay.FingerprintHex(f), "the certificate stays the same")
}

// TestBayWording: a shop's own texts are checked as a whole before anything
// is served.
func TestBayWording(t *testing.T) {
	c := newCar(t, t.TempDir())
	r := c.in("bay", "--print-wording")
	require.Equal(t, 0, r.code)
	c.write("words.txt", strings.Replace(r.out, "step of = Step {n} of {total}", "step of = Schritt {n}\nstep off = x", 1))
	c.in("bay", "--wording", c.dir+"/words.txt").wantRefusal(t, 2, `"step of" does not have the same {places}`, `the page has no text "step off"`, "did you mean")
	c.in("bay", "--wording", c.dir+"/none.txt").wantRefusal(t, 2, "none.txt")
}

// A lockedBuffer may be read while it is written.
type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}
