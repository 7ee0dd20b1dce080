package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"html"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/bay"
	"hvproof/internal/home"
	"hvproof/internal/people"
)

// walk is a procedure that asks for everything that a run can ask for.
const walk = `format: 1
procedure: walk
title: Walk through
stage: A
purpose: Everything that a run can ask for.
proves: {walk: [main]}
people: {least: 2}
ambient: true
cautions: [live]
protective: [gloves]
state: {packs: out}
make_safe: [Leads off., Hands off.]
steps:
  - {id: look, confirm: Look at the leads., choices: [cracked, sound], expect: sound, witness: true}
  - {id: dead, measure: "Plus to minus, read it.", unit: V, with: voltmeter, limit: dead_voltage, state: {switch: open}}
  - {id: double, compute: difference, purpose: Less the tester., from: {a: dead, b: 0.1 V}, unit: V, limit: dead_voltage}
  - {id: pause, wait: Leave it alone., for: 5 s}
  - {id: hold, hold: The rest is released., released_by: releaser}
  - {id: bond, measure: "Box to the chassis bolt, read it.", unit: Ω, with: low_ohm_meter, limit: bonding, source: adopted}
sign_out:
  - {id: covers, observe: Covers of every box., choices: [open, fitted], expect: fitted}
`

// A bench is a car folder whose page is served, with a clock that tests set.
type bench struct {
	t    *testing.T
	car  *car
	skew time.Duration
	opt  bay.Options
	srv  *httptest.Server
	page *bay.Server
	s    *session
	said bytes.Buffer
}

// newBench serves the page of a practice car that has the procedure walk.
func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, car: newCar(t, t.TempDir())}
	b.car.write("procedures/walk.yaml", walk)
	b.serve()
	return b
}

// realPeople are those of a real car, with their passphrases.
var realPeople = []struct {
	id, passphrase string
	roles          []people.Role
}{
	{"d.vance", "river otter lamp", []people.Role{people.Releaser}},
	{"r.mills", "quiet copper door", []people.Role{people.Operator, people.Witness}},
	{"s.okoro", "seven dry leaves", []people.Role{people.Operator, people.Witness}},
}

// newRealBench serves the page of a car that is no practice.
func newRealBench(t *testing.T) *bench {
	t.Helper()
	dir := t.TempDir()
	b := &bench{t: t, car: &car{t: t, dir: dir + "/car", config: dir + "/config"}}
	require.Equal(t, 0, b.car.do("", "init", b.car.dir).code)
	require.NoError(t, fillCar(b.car.dir))
	b.car.write("procedures/walk.yaml", walk)
	a := b.app()
	h, err := home.Open(b.car.config, rand.Reader)
	require.NoError(t, err)
	for i, p := range realPeople {
		_, err := h.CreatePersonKey(p.id, []byte(p.passphrase))
		require.NoError(t, err)
		key, err := h.PersonKey(p.id, []byte(p.passphrase))
		require.NoError(t, err)
		if i == 0 {
			require.NoError(t, a.createLog(t.Context(), b.car.dir, person{p.id, p.roles, key}, false, nil))
			continue
		}
		s, err := a.write(t.Context())
		require.NoError(t, err)
		require.NoError(t, s.unlock(realPeople[0].id, func(string) ([]byte, error) { return []byte(realPeople[0].passphrase), nil }))
		require.NoError(t, s.introduce(p.id, p.roles, key, realPeople[0].id))
		s.close()
	}
	b.serve()
	return b
}

func (b *bench) app() *app {
	return &app{in: strings.NewReader(""), out: io.Discard, err: &b.said, dir: b.car.dir, started: time.Now(),
		env: func(name string) string { return map[string]string{"HVPROOF_CONFIG": b.car.config}[name] },
		now: func() time.Time { return time.Now().Add(b.skew) }}
}

// serve opens the log and serves the page; again ends it first.
func (b *bench) serve() {
	b.t.Helper()
	a := b.app()
	s, err := a.write(context.Background())
	require.NoError(b.t, err)
	b.s = s
	b.opt.Dir, b.opt.Random, b.opt.Now = b.car.config+"/bay", rand.Reader, a.now
	b.opt.Say = func(line string) { a.sayf("%s", line) }
	page, err := bay.New(&bayCar{session: s}, b.opt)
	require.NoError(b.t, err)
	b.page, b.srv = page, httptest.NewServer(page.Handler())
	b.t.Cleanup(b.end)
}

func (b *bench) end() {
	if b.srv != nil {
		b.srv.CloseClientConnections()
		b.srv.Close()
		b.s.close()
		b.srv = nil
	}
}

func (b *bench) again() { b.end(); b.serve() }

// A device is a browser without script: it posts the forms of its pages.
type device struct {
	*bench
	client *http.Client
	body   string // of the page that it shows
	status int
	where  string
}

func (b *bench) device() *device {
	d := &device{bench: b, client: &http.Client{Jar: newJar(b.t)}}
	d.get("/")
	return d
}

func newJar(t *testing.T) http.CookieJar {
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return jar
}

func (d *device) took(r *http.Response, err error) {
	d.t.Helper()
	require.NoError(d.t, err)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	require.NoError(d.t, err)
	d.body, d.status, d.where = string(body), r.StatusCode, r.Request.URL.Path
	require.NotContains(d.t, d.body, "wording:")
}

// get opens a page. The servers of a bench follow one another on other ports;
// the cookie is taken along, as it is where the port stays.
func (d *device) get(path string) *device {
	d.t.Helper()
	d.took(d.client.Get(d.srv.URL + path))
	return d
}

// moved takes the device's cookies along to the server that is now.
func (d *device) moved(old string) {
	from, _ := url.Parse(old)
	to, _ := url.Parse(d.srv.URL)
	d.client.Jar.SetCookies(to, d.client.Jar.Cookies(from))
}

var hiddenField = regexp.MustCompile(`<input type="hidden" name="([^"]+)" value="([^"]*)">`)

// form gives the hidden fields of the page's form with this action.
func (d *device) form(action string) url.Values {
	d.t.Helper()
	_, rest, ok := strings.Cut(d.body, `action="`+action+`"`)
	require.True(d.t, ok, "no form %s on\n%s", action, d.words())
	inside, _, _ := strings.Cut(rest, "</form>")
	v := url.Values{}
	for _, m := range hiddenField.FindAllStringSubmatch(inside, -1) {
		v.Add(m[1], html.UnescapeString(m[2]))
	}
	return v
}

// post sends the page's form with some fields filled in.
func (d *device) post(action string, pairs ...string) *device {
	d.t.Helper()
	v := d.form(action)
	for i := 0; i < len(pairs); i += 2 {
		v.Add(pairs[i], pairs[i+1])
	}
	return d.send(action, v)
}

func (d *device) send(action string, v url.Values) *device {
	d.t.Helper()
	d.took(d.client.PostForm(d.srv.URL+action, v))
	return d
}

// upload sends a form with a file.
func (d *device) upload(action, text, name string, content []byte) *device {
	d.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	v := d.form(action)
	v.Set("text", text)
	for k := range v {
		require.NoError(d.t, w.WriteField(k, v.Get(k)))
	}
	f, err := w.CreateFormFile("file", name)
	require.NoError(d.t, err)
	_, err = f.Write(content)
	require.NoError(d.t, err)
	require.NoError(d.t, w.Close())
	d.took(d.client.Post(d.srv.URL+action, w.FormDataContentType(), &body))
	return d
}

var tags = regexp.MustCompile(`(?s)<script.*?</script>|<[^>]*>`)

// words gives what the page says.
func (d *device) words() string {
	return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(d.body, " "))), " ")
}

func (d *device) says(words ...string) *device {
	d.t.Helper()
	for _, w := range words {
		require.Contains(d.t, d.words(), w)
	}
	return d
}

func (d *device) refused(status int, words ...string) *device {
	d.t.Helper()
	require.Equal(d.t, status, d.status, d.words())
	return d.says(words...)
}

// begin begins a run of walk.
func (d *device) begin(pairs ...string) *device {
	d.t.Helper()
	d.get("/begin/walk")
	d.post("/begin/walk", append([]string{"operator", "operator", "witness", "witness", "releaser", "releaser"}, pairs...)...)
	require.Equal(d.t, "/run", d.where, d.words())
	return d
}

// answer answers the open step.
func (d *device) answer(pairs ...string) *device {
	d.t.Helper()
	return d.post("/run/answer", pairs...)
}

// read gives a reading in both its forms.
func (d *device) read(digits, unit string) *device {
	d.t.Helper()
	d.answer("digits", digits, "unit", unit)
	require.Equal(d.t, http.StatusOK, d.status, d.words())
	return d.answer()
}

// upTo takes a run of walk up to the step with the number, 0 for the air.
func (d *device) upTo(n int) *device {
	d.t.Helper()
	for i, step := range []func(){
		func() { d.answer("temperature", "17", "humidity", "62", "surface", "dry") },
		func() { d.answer("caution", "live") },
		func() { d.answer("state.packs", "out") },
		func() { d.answer("text", "sound") },
		func() { d.answer("person", "witness", "text", "seen") },
		func() { d.answer("state.switch", "open") },
		func() { d.read("0.4", "V") },
		func() { d.answer("digits", "6", "unit", "s") },
		func() { d.answer("person", "releaser", "text", "released") },
		func() { d.read("18.2", "mΩ") },
		func() { d.answer("text", "fitted") },
	} {
		if i == n {
			return d
		}
		step()
		require.Equal(d.t, http.StatusOK, d.status, "step %d: %s", i, d.words())
		require.Equal(d.t, "/run", d.where)
	}
	return d
}
