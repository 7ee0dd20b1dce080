//go:build outside

package main

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A browser is a headless Chromium, driven over its debugging pipe: messages
// of the Chrome DevTools Protocol as JSON, each ended by a zero byte.
type browser struct {
	t   testing.TB
	to  *os.File
	mu  sync.Mutex
	n   int
	got map[int]chan reply
}

type reply struct {
	Result json.RawMessage `json:"result"`
	Error  *struct {
		Message string `json:"message"`
	} `json:"error"`
}

// newBrowser starts one; without Chromium the test fails.
func newBrowser(t testing.TB) *browser {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			program = path
			break
		}
	}
	require.NotEmpty(t, program, "there is no Chromium: apt-get install chromium")
	fromUs, to, err := os.Pipe()
	require.NoError(t, err)
	from, toUs, err := os.Pipe()
	require.NoError(t, err)
	command := exec.Command(program, "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-dev-shm-usage",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--ignore-certificate-errors",
		"--remote-debugging-pipe", "--user-data-dir="+filepath.Join(t.TempDir(), "chromium"))
	command.ExtraFiles = []*os.File{fromUs, toUs} // descriptors 3 and 4
	require.NoError(t, command.Start())
	_ = fromUs.Close()
	_ = toUs.Close()
	b := &browser{t: t, to: to, got: map[int]chan reply{}}
	go b.listen(from)
	t.Cleanup(func() {
		_, _ = b.send("", "Browser.close", nil)
		_ = to.Close()
		done := make(chan struct{})
		go func() { _ = command.Wait(); close(done) }()
		select {
		case <-done:
		case <-time.After(5 * time.Second):
			_ = command.Process.Kill()
			<-done
		}
	})
	return b
}

func (b *browser) listen(from io.Reader) {
	r := bufio.NewReaderSize(from, 1<<20)
	for {
		message, err := r.ReadBytes(0)
		if err != nil {
			return
		}
		var m struct {
			ID int `json:"id"`
			reply
		}
		if json.Unmarshal(message[:len(message)-1], &m) != nil || m.ID == 0 {
			continue
		}
		b.mu.Lock()
		if c := b.got[m.ID]; c != nil {
			c <- m.reply
			delete(b.got, m.ID)
		}
		b.mu.Unlock()
	}
}

// send sends a command to the browser or one of its pages.
func (b *browser) send(session, method string, params any) (json.RawMessage, error) {
	b.mu.Lock()
	b.n++
	id, c := b.n, make(chan reply, 1)
	b.got[id] = c
	m := map[string]any{"id": id, "method": method}
	if params != nil {
		m["params"] = params
	}
	if session != "" {
		m["sessionId"] = session
	}
	text, err := json.Marshal(m)
	if err == nil {
		_, err = b.to.Write(append(text, 0))
	}
	b.mu.Unlock()
	if err != nil {
		return nil, err
	}
	select {
	case r := <-c:
		if r.Error != nil {
			return nil, fmt.Errorf("%s: %s", method, r.Error.Message)
		}
		return r.Result, nil
	case <-time.After(30 * time.Second):
		return nil, fmt.Errorf("%s: no reply", method)
	}
}

// A tab is one page with cookies of its own, as another device has.
type tab struct {
	*browser
	session string
}

// newTab opens one with a screen of this size, touched with fingers.
func (b *browser) newTab(width, height int) *tab {
	b.t.Helper()
	var made struct {
		BrowserContextID string `json:"browserContextId"`
		TargetID         string `json:"targetId"`
		SessionID        string `json:"sessionId"`
	}
	for _, step := range []struct {
		method string
		params func() map[string]any
	}{
		{"Target.createBrowserContext", func() map[string]any { return map[string]any{} }},
		{"Target.createTarget", func() map[string]any {
			return map[string]any{"url": "about:blank", "browserContextId": made.BrowserContextID}
		}},
		{"Target.attachToTarget", func() map[string]any { return map[string]any{"targetId": made.TargetID, "flatten": true} }},
	} {
		r, err := b.send("", step.method, step.params())
		require.NoError(b.t, err)
		require.NoError(b.t, json.Unmarshal(r, &made))
	}
	p := &tab{b, made.SessionID}
	p.do("Page.enable", nil)
	p.do("Emulation.setTouchEmulationEnabled", map[string]any{"enabled": true})
	p.size(width, height)
	return p
}

func (p *tab) do(method string, params any) json.RawMessage {
	p.t.Helper()
	r, err := p.send(p.session, method, params)
	require.NoError(p.t, err)
	return r
}

func (p *tab) size(width, height int) {
	p.t.Helper()
	p.do("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 1000})
}

// dark chooses light or dark.
func (p *tab) dark(yes bool) {
	p.t.Helper()
	value := "light"
	if yes {
		value = "dark"
	}
	p.do("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]string{{"name": "prefers-color-scheme", "value": value}}})
}

// open goes to an address and waits for the page.
func (p *tab) open(url string) {
	p.t.Helper()
	p.do("Page.navigate", map[string]any{"url": url})
	p.wait("document.readyState === 'complete' && location.href !== 'about:blank'")
}

// eval evaluates an expression in the page, a promise to its end, into v.
func (p *tab) eval(expression string, v any) {
	p.t.Helper()
	require.NoError(p.t, p.try(expression, v))
}

func (p *tab) try(expression string, v any) error {
	r, err := p.send(p.session, "Runtime.evaluate", map[string]any{"expression": expression, "returnByValue": true, "awaitPromise": true})
	if err != nil {
		return err
	}
	var m struct {
		Result struct {
			Value json.RawMessage `json:"value"`
		} `json:"result"`
		ExceptionDetails *struct {
			Text      string `json:"text"`
			Exception struct {
				Description string `json:"description"`
			} `json:"exception"`
		} `json:"exceptionDetails"`
	}
	if err := json.Unmarshal(r, &m); err != nil {
		return err
	}
	if m.ExceptionDetails != nil {
		return fmt.Errorf("%s: %s %s", expression, m.ExceptionDetails.Text, m.ExceptionDetails.Exception.Description)
	}
	if v == nil || len(m.Result.Value) == 0 {
		return nil
	}
	return json.Unmarshal(m.Result.Value, v)
}

// wait waits until an expression is true.
func (p *tab) wait(expression string) {
	p.t.Helper()
	var last error
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		ok := false
		if last = p.try("Boolean("+expression+")", &ok); last == nil && ok {
			return
		}
	}
	text := ""
	_ = p.try("document.body.innerText", &text)
	require.Fail(p.t, "the page never came to it", "%s: %v\n%s", expression, last, text)
}

// touch touches the middle of the element with a finger.
func (p *tab) touch(selector string) {
	p.t.Helper()
	q, err := json.Marshal(selector)
	require.NoError(p.t, err)
	var at struct {
		X, Y     float64
		Fault    string
		W, H     float64
		Covering string
	}
	p.eval(`(() => { const e = document.querySelector(`+string(q)+`);
		if (!e) return {Fault: "is not on the page"};
		const t = e.matches("input[type=radio], input[type=checkbox]") ? e.closest("label") : e;
		t.scrollIntoView({block: "center"});
		const r = t.getBoundingClientRect(), x = r.x + r.width / 2, y = r.y + r.height / 2, over = document.elementFromPoint(x, y);
		if (!over || !(t.contains(over) || over.contains(t))) return {Fault: "is covered by " + (over ? over.outerHTML.slice(0, 90) : "nothing")};
		return {X: x, Y: y, W: r.width, H: r.height}; })()`, &at)
	require.Empty(p.t, at.Fault, selector)
	p.do("Input.dispatchTouchEvent", map[string]any{"type": "touchStart", "touchPoints": []map[string]any{{"x": at.X, "y": at.Y}}})
	p.do("Input.dispatchTouchEvent", map[string]any{"type": "touchEnd", "touchPoints": []map[string]any{}})
}

// attach chooses a file in a form.
func (p *tab) attach(selector, path string) {
	p.t.Helper()
	var at struct{ Result struct{ ObjectID string } }
	q, err := json.Marshal(selector)
	require.NoError(p.t, err)
	require.NoError(p.t, json.Unmarshal(p.do("Runtime.evaluate", map[string]any{"expression": "document.querySelector(" + string(q) + ")"}), &at))
	p.do("DOM.setFileInputFiles", map[string]any{"files": []string{path}, "objectId": at.Result.ObjectID})
}

// shot photographs what is on the screen.
func (p *tab) shot(path string) {
	p.t.Helper()
	var m struct{ Data string }
	require.NoError(p.t, json.Unmarshal(p.do("Page.captureScreenshot", map[string]any{"format": "png"}), &m))
	picture, err := base64.StdEncoding.DecodeString(m.Data)
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(path, picture, 0o644))
}

// text gives what the page says.
func (p *tab) text() string {
	p.t.Helper()
	s := ""
	p.eval("document.body.innerText", &s)
	return strings.Join(strings.Fields(s), " ")
}
