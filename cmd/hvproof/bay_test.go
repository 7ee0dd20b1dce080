package main

import (
	"bytes"
	"maps"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBayRun takes a run from its beginning to its end over the page, without
// a script, and looks at what each page says.
func TestBayRun(t *testing.T) {
	d := newBench(t).device()
	d.says("PRACTICE", "Power may not come on", "Bench check", "about 10 min")
	d.begin().says("Temperature, humidity, wet or dry", "Step 1 of")
	d.answer("temperature", "17", "humidity", "162", "surface", "dry").refused(http.StatusUnprocessableEntity, "is not a relative humidity")
	d.upTo(1).says("The pack is live at its terminals, always.")
	d.answer().refused(http.StatusUnprocessableEntity, "Read each caution aloud")
	d.answer("caution", "live").says("packs", "something else")
	assert.NotContains(t, d.body, "checked", "a state is chosen beforehand")
	d.answer().refused(http.StatusUnprocessableEntity, "packs was not said")
	d.answer("state.packs", "in").refused(http.StatusUnprocessableEntity, `packs is "in", and this step needs "out"`)
	d.answer("state.packs", "out").says("Look at the leads.", "cracked", "sound")
	d.answer("text", "sound").says("witness saw it, and signs", "Nobody else can")
	d.answer("text", "seen").refused(http.StatusUnprocessableEntity, "Nobody was chosen")
	d.answer("person", "operator", "text", "seen").refused(http.StatusForbidden, "must be signed by witness")
	d.answer("person", "witness", "text", "seen")
	d.answer("state.switch", "open").says("Plus to minus, read it.", "Limit magnitude at most 60 V", "Meter meter-1", "voltmeter leads")
	assert.Less(t, strings.Index(d.body, "<dl"), strings.Index(d.body, `id="digits"`), "the limit stands before the pad")
	d.answer("digits", "0.4").refused(http.StatusUnprocessableEntity, "No unit was chosen")
	d.answer("digits", "0,4", "unit", "V").refused(http.StatusUnprocessableEntity, "decimal comma")
	d.answer("digits", "0.4", "unit", "MΩ").refused(http.StatusUnprocessableEntity, "not one of this step's")
	d.answer("digits", "0.4", "unit", "V").says("0.4 V", "zero point four volt", "Nothing is recorded yet")
	d.answer().says("Last recorded", "300 mV", "pass", "Leave it alone.", "Wait at least 5 s")
	d.answer("digits", "3", "unit", "s").refused(http.StatusUnprocessableEntity, "is less than the 5 s")
	d.answer("digits", "6", "unit", "s").says("releaser releases this hold point")
	d.answer("person", "releaser", "text", "released").says("Box to the chassis bolt")
	d.answer("digits", "182", "unit", "mΩ").says("one hundred and eighty-two milliohm")
	d.answer().says("Once more with the reason", "FAIL", "182 mΩ", "attempt 1")
	d.answer("then", "again").refused(http.StatusUnprocessableEntity, "A reason is wanted")
	d.answer("then", "again", "reason", "paint under the lug").says("Attempt 2", "FAIL")
	d.read("18.2", "mΩ").says("Covers of every box.")
	d.answer("text", "fitted").says("No run is open", "passed")
	d.get("/run/steps?of="+d.runs()[0]).says("attempt 1", "attempt 2", "paint under the lug")
	d.get("/").says("walk")
	d.get("/readings").says("18.2 mΩ")
	d.get("/readings/walk/bond").says("182 mΩ", "FAIL", "18.2 mΩ")
	assert.Contains(t, d.body, `<circle class="mark"`)
	assert.Contains(t, d.body, `class="mark bad"`)
	d.end()
	r := d.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// runs gives the ids of the folder's runs.
func (b *bench) runs() []string {
	var out []string
	for _, m := range b.s.history.Runs() {
		out = append(out, m.ID())
	}
	return out
}

// size gives the number of entries.
func (b *bench) size() int64 {
	n, err := b.s.store.Size(b.t.Context(), b.s.origin)
	require.NoError(b.t, err)
	return n
}

// TestBayTwice wants one entry for an answer that comes twice, or late.
func TestBayTwice(t *testing.T) {
	b := newBench(t)
	d := b.device().begin()
	v := d.form("/run/answer")
	v.Set("temperature", "17")
	v.Set("humidity", "62")
	v.Set("surface", "dry")
	d.send("/run/answer", v)
	n := b.size()
	d.send("/run/answer", v).refused(http.StatusConflict, "This was answered already", "The pack is live")
	assert.Equal(t, n, b.size())
	d.upToFrom(1, 6)
	d.answer("digits", "0.4", "unit", "V")
	again := d.form("/run/answer")
	d.send("/run/answer", again)
	n = b.size()
	d.send("/run/answer", again).refused(http.StatusConflict, "This was answered already")
	assert.Equal(t, n, b.size())
}

func (d *device) upToFrom(from, to int) {
	d.t.Helper()
	steps := [][]string{{"temperature", "17", "humidity", "62", "surface", "dry"}, {"caution", "live"}, {"state.packs", "out"}, {"text", "sound"},
		{"person", "witness", "text", "seen"}, {"state.switch", "open"}}
	for _, s := range steps[from:to] {
		d.answer(s...)
		require.Equal(d.t, http.StatusOK, d.status, d.words())
	}
}

// TestBayReadBack: a reading is recorded only as it was read back; what would
// be asked back cannot be confirmed unseen.
func TestBayReadBack(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(6)
	n := b.size()
	v := d.form("/run/answer")
	v.Set("digits", "-0.4")
	v.Set("unit", "V")
	v.Set("read", "00000000000000000000000000000000")
	d.send("/run/answer", v).says("minus zero point four volt", "probes swapped", "Correct all the same")
	assert.Equal(t, n, b.size(), "nothing is recorded before it is read back")
	v = d.form("/run/answer")
	v.Set("digits", "-0.5") // another number than the one that was read back
	d.send("/run/answer", v).says("minus zero point five volt", "Nothing is recorded yet")
	assert.Equal(t, n, b.size())
	d.answer().says("Leave it alone.")
	assert.Equal(t, n+2, b.size(), "reading and computed value")
	d.get("/run/steps").says("-0.5 V")
}

// TestBayAgain: after a restart at any step the page asks for the state of
// the car, and then the same step; nothing is lost and nothing doubled.
func TestBayAgain(t *testing.T) {
	for n := range 11 {
		b := newBench(t)
		d := b.device().begin().upTo(n)
		before := d.body
		heading := headingOf(before)
		size, old := b.size(), b.srv.URL
		b.again()
		d.moved(old)
		d.get("/run").says("The state of the car first", "Nobody's key is open")
		assert.Equal(t, size, b.size())
		d.post("/run/unlock", "person", "witness").refused(http.StatusForbidden, "is not the operator")
		d.post("/run/unlock", "person", "operator")
		require.Equal(t, http.StatusOK, d.status, d.words())
		v := d.form("/run/answer")
		v.Set("text", "as it was")
		for _, m := range []string{"packs", "switch"} {
			if strings.Contains(d.body, `name="state.`+m+`"`) {
				v.Set("state."+m, map[string]string{"packs": "out", "switch": "open"}[m])
			}
		}
		d.send("/run/answer", v)
		require.Equal(t, http.StatusOK, d.status, d.words())
		if n > 1 && n != 4 && n != 8 { // before anything is done, the cautions are read again
			d.says("Read the cautions aloud")
			d.answer("caution", "live")
			for _, m := range [][2]string{{"packs", "out"}, {"switch", "open"}} {
				if strings.Contains(d.body, `name="state.`+m[0]+`"`) && headingOf(d.body) != heading {
					d.answer("state."+m[0], m[1])
				}
			}
		}
		assert.Equal(t, heading, headingOf(d.body), "step %d", n)
		b.end()
	}
}

func headingOf(body string) string {
	_, rest, _ := strings.Cut(body, "<h1>")
	h, _, _ := strings.Cut(rest, "</h1>")
	return h
}

// TestBayTwoDevices: one answers, the other follows; taken over, both say so.
// A witness signs on either.
func TestBayTwoDevices(t *testing.T) {
	b := newBench(t)
	one := b.device().begin().upTo(3)
	two := b.device().get("/run").says("This device follows", "Look at the leads.")
	assert.NotContains(t, two.body, `value="sound"`)
	n := b.size()
	v := two.form("/run/unlock") // a form made by hand
	v.Set("text", "sound")
	two.send("/run/answer", v).refused(http.StatusLocked, "answers for this run")
	assert.Equal(t, n, b.size())
	one.answer("text", "sound")
	two.get("/run").answer("person", "witness", "text", "seen").says("This device follows")
	one.answer("person", "witness", "text", "seen").refused(http.StatusConflict, "This was answered already")
	two.get("/run").post("/run/unlock", "person", "operator").says("Taken over from", "on this device")
	one.get("/run").says("took this run over at", "This device follows")
	two.answer("state.switch", "open").says("Plus to minus")
}

// TestBayStop: pressed on any device, at once; recorded once, as soon as there
// is a key to sign it.
func TestBayStop(t *testing.T) {
	b := newBench(t)
	one := b.device().begin().upTo(3)
	two := b.device()
	for _, path := range []string{"/", "/run", "/run/steps", "/procedures", "/procedures/walk", "/limits", "/readings", "/people", "/begin/walk", "/stop", "/nowhere"} {
		two.get(path)
		assert.Contains(t, two.body, `<button class="stop">`, path)
		assert.Contains(t, two.body, "<li>Leads off.</li><li>Hands off.</li>", path)
	}
	n := b.size()
	two.post("/stop").says("Leads off.", "On record: stopped and made safe")
	assert.Equal(t, n+1, b.size())
	two.post("/stop").says("On record")
	assert.Equal(t, n+1, b.size(), "pressed twice, recorded once")
	one.get("/run").says("The state of the car first")
	one.post("/run/lock").says("Nobody's key is open")
	one.answerState()
	one.post("/stop")
	one.says("On record") // the make-safe is still the last entry
	b.skew += time.Minute
	one.get("/run").post("/run/unlock", "person", "operator")
	one.answerState()
	one.post("/run/lock")
	n = b.size()
	two.post("/stop").says("NOT recorded yet")
	assert.Equal(t, n, b.size())
	one.get("/run").says("Stop was pressed")
	one.post("/run/unlock", "person", "operator")
	assert.Equal(t, n+1, b.size())
}

func (d *device) answerState() {
	d.t.Helper()
	if !strings.Contains(d.body, `action="/run/answer"`) {
		return
	}
	d.answer("state.packs", "out", "text", "as it was")
}

// TestBayIdle: after ten minutes without an answer the key is locked, and the
// state of the car comes first.
func TestBayIdle(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(3)
	n := b.size()
	b.skew = 11 * time.Minute
	d.answer("text", "sound").refused(http.StatusConflict, "Nothing was answered for ten minutes", "The state of the car first", "Nobody's key is open")
	assert.Equal(t, n, b.size())
}

// TestBayPassphrases: each signs with the own one, a witness and a releaser
// for one signature; wrong ones are limited in number.
func TestBayPassphrases(t *testing.T) {
	b := newRealBench(t)
	d := b.device()
	assert.NotContains(t, d.words(), "PRACTICE")
	d.get("/begin/walk")
	d.post("/begin/walk", "operator", "r.mills", "witness", "r.mills", "releaser", "d.vance", "passphrase", "quiet copper door").
		refused(http.StatusConflict, "cannot be operator and witness")
	d.post("/begin/walk", "operator", "r.mills", "witness", "s.okoro", "releaser", "d.vance", "passphrase", "quiet copper").
		refused(http.StatusForbidden, "does not open the key")
	assert.NotContains(t, d.body, "quiet copper")
	n := b.size()
	d.post("/begin/walk", "operator", "r.mills", "witness", "s.okoro", "releaser", "d.vance", "passphrase", "quiet copper door")
	require.Equal(t, "/run", d.where, d.words())
	assert.Equal(t, n+1, b.size())
	d.upTo(4)
	for range 5 {
		d.answer("person", "s.okoro", "passphrase", "guess", "text", "seen").refused(http.StatusForbidden)
	}
	d.answer("person", "s.okoro", "passphrase", "seven dry leaves", "text", "seen").refused(http.StatusTooManyRequests, "Too many wrong passphrases")
	b.skew = 61 * time.Second
	d.get("/run").answer("person", "s.okoro", "passphrase", "seven dry leaves", "text", "seen")
	require.Equal(t, http.StatusOK, d.status, d.words())
	_, open := b.s.keys["s.okoro"]
	assert.False(t, open, "a witness unlocks for one signature")
	_, open = b.s.keys["r.mills"]
	assert.True(t, open)
	two := b.device().get("/run")
	two.post("/run/unlock", "person", "r.mills", "passphrase", "").refused(http.StatusForbidden)
	d.get("/run").says("on this device")
}

// TestBayGuards: requests of another site, by another name, without the
// page's token or cookie.
func TestBayGuards(t *testing.T) {
	b := newBench(t)
	d := b.device().begin()
	good := d.form("/run/answer")
	good.Set("temperature", "17")
	good.Set("humidity", "62")
	good.Set("surface", "dry")
	n := b.size()
	try := func(change func(*http.Request), v url.Values) int {
		r, err := http.NewRequest("POST", b.srv.URL+"/run/answer", strings.NewReader(v.Encode()))
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		change(r)
		answer, err := d.client.Do(r)
		require.NoError(t, err)
		answer.Body.Close()
		return answer.StatusCode
	}
	header := func(k, v string) func(*http.Request) { return func(r *http.Request) { r.Header.Set(k, v) } }
	assert.Equal(t, http.StatusForbidden, try(header("Origin", "https://evil.example"), good))
	assert.Equal(t, http.StatusForbidden, try(header("Sec-Fetch-Site", "cross-site"), good))
	assert.Equal(t, http.StatusForbidden, try(header("Origin", "null"), good))
	for _, host := range []string{"evil.example", "evil.example:80", "10.1.2.3", "127.0.0.1:1", "127.0.0.2:" + b.srv.URL[strings.LastIndex(b.srv.URL, ":")+1:]} {
		assert.Equal(t, http.StatusMisdirectedRequest, try(func(r *http.Request) { r.Host = host }, good), host)
	}
	bad := url.Values{}
	for k := range good {
		bad.Set(k, good.Get(k))
	}
	bad.Set("token", "")
	assert.Equal(t, http.StatusForbidden, try(func(*http.Request) {}, bad))
	bad.Set("token", b.device().form("/stop").Get("token"))
	assert.Equal(t, http.StatusForbidden, try(func(*http.Request) {}, bad), "the token of another device")
	stranger := http.Client{}
	answer, err := stranger.PostForm(b.srv.URL+"/run/answer", good)
	require.NoError(t, err)
	answer.Body.Close()
	assert.Equal(t, http.StatusForbidden, answer.StatusCode, "no cookie")
	assert.Equal(t, n, b.size(), "nothing was recorded")
	assert.Equal(t, http.StatusOK, try(func(*http.Request) {}, good))
	assert.Equal(t, n+1, b.size())
	long := url.Values{"token": {good.Get("token")}, "text": {strings.Repeat("x", 1<<20)}}
	assert.Equal(t, http.StatusRequestEntityTooLarge, try(func(*http.Request) {}, long))

	answer, err = d.client.Get(b.srv.URL + "/")
	require.NoError(t, err)
	answer.Body.Close()
	assert.Contains(t, answer.Header.Get("Content-Security-Policy"), "default-src 'none'")
	assert.NotContains(t, answer.Header.Get("Content-Security-Policy"), "unsafe")
	assert.Equal(t, "nosniff", answer.Header.Get("X-Content-Type-Options"))
	answer, err = stranger.Get(b.srv.URL + "/")
	require.NoError(t, err)
	answer.Body.Close()
	require.Len(t, answer.Cookies(), 1)
	assert.True(t, answer.Cookies()[0].HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, answer.Cookies()[0].SameSite)
}

// TestBayFile: a photograph lies in the log under its hash, and only as what
// it is.
func TestBayFile(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(3)
	png := []byte("\x89PNG\r\n\x1a\n rest of a picture")
	d.upload("/run/note", "lug and mark", `C:\photos\lug "1".png`, png).says("lug and mark")
	address := regexpFind(t, `href="(/file/[0-9a-f]{64})"`, d.body)
	d.get(address)
	assert.Equal(t, string(png), d.body)
	d.get("/run").upload("/run/note", "", "trace.html", []byte("<html><script>alert(1)</script>"))
	addresses := regexpAll(`href="(/file/[0-9a-f]{64})"`, d.body)
	require.Len(t, addresses, 2)
	for _, a := range addresses {
		r, err := d.client.Get(b.srv.URL + a)
		require.NoError(t, err)
		r.Body.Close()
		if a != address {
			assert.Equal(t, "application/octet-stream", r.Header.Get("Content-Type"))
			assert.Contains(t, r.Header.Get("Content-Disposition"), "attachment")
		}
	}
	d.get("/file/" + strings.Repeat("0", 64)).refused(http.StatusNotFound)
	d.get("/file/..%2f..%2fvehicle.yaml").refused(http.StatusNotFound)
	d.get("/run").answer("text", "sound")
	require.Equal(t, http.StatusOK, d.status, "a note does not make a form late")
	b.end()
	r := b.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// TestBayCannotStore: what cannot be stored is not accepted, and the page
// says so; the run then goes on from what the log has.
func TestBayCannotStore(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(3)
	n := b.size()
	require.NoError(t, b.s.store.Close())
	d.answer("text", "sound")
	assert.Equal(t, http.StatusInternalServerError, d.status)
	d.says("NOT RECORDED")
	assert.NotContains(t, d.words(), "witness saw it")
	b.srv.Close()
	b.srv = nil
	b.serve()
	assert.Equal(t, n, b.size())
}

// TestBayFiles: faulty files of the car are shown, and nothing begins on them.
func TestBayFiles(t *testing.T) {
	b := newBench(t)
	d := b.device()
	b.car.write("procedures/walk.yaml", strings.Replace(walk, "unit: V", "unit: vlot", 1))
	d.get("/").says("The car's files cannot be used", "procedures/walk.yaml:")
	d.get("/begin/walk").refused(http.StatusUnprocessableEntity)
	b.car.write("procedures/walk.yaml", walk)
	d.get("/").says("Power may not come on")
	d.get("/begin/nothing").refused(http.StatusUnprocessableEntity, "there is no procedure")
	d.get("/limits").says("dead voltage", "magnitude at most 60 V", "isolation whole", "500 Ω/V * system.max_voltage", "system.max_voltage")
	d.get("/procedures").says("Walk through", "Bench check")
	d.get("/procedures/walk").says("Look at the leads.", "cracked / sound", "magnitude at most 60 V", "Leads off.")
	d.get("/people").says("operator", "witness", "releaser", "open to this machine alone")
}

// TestBayAbandon: a second run begins only where the first is said to be
// abandoned.
func TestBayAbandon(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(3)
	d.get("/begin/walk").says("Abandon the open run")
	d.post("/begin/walk", "operator", "operator", "witness", "witness", "releaser", "releaser").refused(http.StatusConflict, "Another run is open")
	d.begin("abandons", b.runs()[0])
	assert.Len(t, b.runs(), 2)
	d.post("/run/leave").says("Nobody's key is open")
}

// TestBayShared: over the network every device is paired by a code, the cookie
// goes over TLS alone, and a device can be thrown out.
func TestBayShared(t *testing.T) {
	b := newBench(t)
	b.end()
	b.opt.LAN, b.opt.Address, b.opt.Names = true, "https://127.0.0.1:7360", []string{"localhost"}
	b.serveTLS()
	d := b.deviceTLS()
	d.says("Pair this device", "Fingerprint")
	assert.NotContains(t, d.words(), "Mule", "nothing of the car is shown before")
	d.get("/run").says("Pair this device")
	d.send("/stop", url.Values{}).refused(http.StatusForbidden, "not known here")
	code := b.code()
	for range 5 {
		d.get("/").post("/pair", "code", "00000000x", "name", "phone").refused(http.StatusForbidden, "not the pairing code")
	}
	d.post("/pair", "code", code, "name", "phone").refused(http.StatusForbidden) // five wrong ones end it
	assert.Contains(t, b.said.String(), "too many wrong pairing codes")
	d.post("/pair", "code", b.code(), "name", "phone").says("Power may not come on")
	other := b.deviceTLS()
	for range 4 {
		other.get("/").post("/pair", "code", "1", "name", "x")
	}
	other.post("/pair", "code", b.code(), "name", "x").refused(http.StatusTooManyRequests, "Too many wrong codes")
	b.skew = 2 * time.Minute
	other.post("/pair", "code", b.code(), "name", "tablet").says("Power may not come on")
	other.begin().says("on this device")
	d.get("/people").says("phone", "tablet", "answers")
	devices := regexpAll(`name="device" value="([0-9a-f]{8})"`, d.body)
	require.Len(t, devices, 2)
	v := d.form("/people/out")
	v.Set("device", devices[0])
	d.send("/people/out", v)
	other.get("/run").says("Pair this device")
	d.get("/run").says("Nobody's key is open", "The state of the car first")
	d.get("/people").post("/people/code").says("Good once")
	var secure []bool
	again := b.deviceTLS()
	again.client.CheckRedirect = func(r *http.Request, _ []*http.Request) error {
		for _, k := range r.Response.Cookies() {
			secure = append(secure, k.Secure && k.HttpOnly)
		}
		return nil
	}
	again.post("/pair", "code", regexpFind(t, `<p class="big">(\d{8})</p>`, d.body), "name", "third").says("Power may not come on")
	u, err := url.Parse(b.srv.URL)
	require.NoError(t, err)
	require.NotEmpty(t, again.client.Jar.Cookies(u))
	assert.Equal(t, "__Host-hvproof-bay", again.client.Jar.Cookies(u)[0].Name)
	assert.Equal(t, []bool{true}, secure, "the cookie goes over TLS alone")
	info, err := os.Stat(filepath.Join(b.car.config, "bay", "devices"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

// TestBayItem: a joint is closed with torque, tool, mark and a second person;
// without them it stays open.
func TestBayItem(t *testing.T) {
	b := newBench(t)
	b.end()
	b.car.write("item.yaml", "people: {operator: operator}\nanswers: {item: joint, text: main plus only nipped up, parts: none, blocks: power}\n")
	r := b.car.in("item", "add", "--answers", "item.yaml")
	require.Equal(t, 0, r.code, r.talk)
	b.serve()
	d := b.device().says("main plus only nipped up", "keeps power off")
	address := regexpFind(t, `href="(/items/i\d+)"`, d.body)
	d.get(address)
	n := b.size()
	good := []string{"text", "torqued", "digits", "17", "unit", "N·m", "tool", "torque-2", "mark", "yellow, across both", "by", "operator", "seen_by", "witness", "person", "operator"}
	for i := 0; i < len(good); i += 2 {
		if good[i] == "unit" {
			continue
		}
		var less []string
		for k := 0; k < len(good); k += 2 {
			if k != i {
				less = append(less, good[k], good[k+1])
			}
		}
		d.post(address, less...)
		assert.Equal(t, http.StatusUnprocessableEntity, d.status, "without %s", good[i])
	}
	assert.Equal(t, n, b.size())
	v := d.form(address)
	for i := 0; i < len(good); i += 2 {
		v.Set(good[i], good[i+1])
	}
	v.Set("seen_by", "operator")
	d.send(address, v).refused(http.StatusUnprocessableEntity, "another person must have seen it")
	d.get(address).post(address, good...).says("Read aloud", "17 N·m", "seventeen newton metre", "yellow, across both", "Nothing is recorded yet")
	assert.Equal(t, n, b.size(), "nothing is recorded before it is read back")
	sent := d.form(address)
	changed := maps.Clone(sent)
	changed.Set("digits", "1.7")
	changed.Set("read", regexpFind(t, `name="read" value="([0-9a-f]{32})"`, d.body))
	d.send(address, changed)
	assert.Equal(t, n, b.size(), "what was changed after it was read back is not recorded")
	d.send(address, sent).says("seventeen newton metre")
	hash := regexpFind(t, `name="read" value="([0-9a-f]{32})"`, d.body)
	d.post(address, "read", "not so")
	assert.Contains(t, d.body, `value="17"`, "what was typed stays")
	d.send(address, sent)
	picture := []byte("\x89PNG\r\n\x1a\nlug")
	sent.Set("read", hash)
	d.sendFile(address, sent, "lug.png", picture)
	require.Equal(t, "/", d.where, d.words())
	assert.Equal(t, n+2, b.size(), "the closing, and the photograph")
	d.says("Closed items (1)", "main plus only nipped up")
	d.sendFile(address, sent, "lug.png", picture).refused(http.StatusConflict, "answered already")
	assert.Equal(t, n+2, b.size(), "sent again, nothing is recorded")
	d.get(address).says("A closed item", "17 N·m", "yellow, across both", "lug.png")
	shown := regexpFind(t, `<img class="photo" src="(/file/[0-9a-f]{64})"`, d.body)
	again := url.Values{"token": sent["token"], "picture": {"yes"}, "person": {"operator"}}
	d.sendFile(address, again, "lug.png", picture).refused(http.StatusConflict, "answered already")
	d.send(address, again).refused(http.StatusUnprocessableEntity, "No photograph was chosen")
	d.sendFile(address, again, "mark.png", []byte("\x89PNG\r\n\x1a\nmark"))
	assert.Equal(t, n+3, b.size())
	d.get(shown)
	assert.Equal(t, string(picture), d.body)
	d.get(address).says("lug.png", "mark.png")
	d.get("/items/i9999").refused(http.StatusNotFound)
	b.end()
	r = b.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// sendFile sends a form with one file.
func (d *device) sendFile(address string, form url.Values, name string, content []byte) *device {
	d.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	require.NoError(d.t, w.WriteField("token", form.Get("token")))
	for key, values := range form {
		for _, value := range values {
			if key != "token" {
				require.NoError(d.t, w.WriteField(key, value))
			}
		}
	}
	f, err := w.CreateFormFile("file", name)
	require.NoError(d.t, err)
	_, err = f.Write(content)
	require.NoError(d.t, err)
	require.NoError(d.t, w.Close())
	d.took(d.client.Post(d.srv.URL+address, w.FormDataContentType(), &body))
	return d
}
