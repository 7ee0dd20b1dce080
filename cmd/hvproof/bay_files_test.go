package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// charge is a procedure that wants a waveform, and a time off a screen.
const charge = `format: 1
procedure: charge
title: Charge
stage: A
purpose: A waveform.
proves: {charge: [main]}
make_safe: [Leads off.]
steps:
  - {id: ramp, capture: "Record the charging.", kind: precharge, with: scope, find: {tau: {at_most: 1 s}}, if_failed: note}
  - {id: quick, time: "From the trip to the opening, off the screen.", with: scope, at_most: 0.25 s, source: adopted}
`

// scope is an oscilloscope beside the small car's instruments.
const scope = `  scope-1:
    kind: oscilloscope
    roles: [scope]
    category: CAT III
    max_voltage: 1000 V
    calibrated_until: 2999-12-31
    functions:
      voltage: {unit: V, ranges: [{to: 500 V, digit: 2 V, full_scale: 3%}]}
      time: {unit: s, ranges: [{to: 10 s, digit: 1 ms, reading: 0.005%}]}
`

// newChargeBench serves a car with that procedure.
func newChargeBench(t *testing.T) *bench {
	b := newBench(t)
	b.end()
	b.car.write("instruments.yaml", strings.TrimRight(b.car.read("instruments.yaml"), "\n")+"\n"+scope)
	b.car.write("procedures/charge.yaml", charge)
	b.serve()
	return b
}

// ramp is a recording of n samples of 200·(1 − e^(−t/71 ms)) V over one
// second, with one sample at 400 V.
func ramp(n int) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),dc_link (V),pack (V)\n")
	for i := range n {
		t := float64(i)/float64(n) - 0.05
		v := 200 * -math.Expm1(-math.Max(t, 0)/0.071)
		if i == n*3/4 {
			v = 400
		}
		fmt.Fprintf(&b, "%.7f,%.3f,200.000\n", t, v)
	}
	return b.Bytes()
}

// TestBayTrace: a recording of a million samples is attached, and looked at in
// views of it; the one sample that matters is in every view that holds it.
func TestBayTrace(t *testing.T) {
	b := newChargeBench(t)
	d := b.device().get("/begin/charge")
	d.post("/begin/charge", "operator", "operator", "with.scope", "scope-1")
	require.Equal(t, "/run", d.where, d.words())
	d.get("/run").says("Record the charging")
	d.answer("text", "by eye: tau 70 ms").refused(http.StatusUnprocessableEntity, "division")
	d.upload("/run/answer", "", "ramp.csv", ramp(1_000_000))
	require.Equal(t, http.StatusOK, d.status, d.words())
	d.get("/run/steps").says("Look at it closely")
	trace := regexpFind(t, `href="(/trace/[^"]+)"`, d.body)
	d.get(trace).says("1000000 samples", "closer", "whole")
	drawing := regexpFind(t, `src="(/waveform/[^"]+)"`, d.body)
	begun := time.Now()
	d.get(strings.ReplaceAll(drawing, "&amp;", "&"))
	t.Logf("a million samples: the whole view in %s, %d kB", time.Since(begun).Round(time.Millisecond), len(d.body)/1000)
	assert.Contains(t, d.body, "<svg")
	assert.Less(t, len(d.body), 150_000)
	for range 14 { // closer and closer to the middle
		d.get(trace)
		trace = strings.ReplaceAll(regexpFind(t, `href="(/trace/[^"]+)" data-view="trace in"`, d.body), "&amp;", "&")
	}
	d.get(trace)
	at, err := url.Parse(trace)
	require.NoError(t, err)
	assert.NotEmpty(t, at.Query().Get("from"))
	d.get(at.Path + "?from=0.6999&to=0.7001").says("From 699.9 ms to 700.1 ms")
	for _, wrong := range []string{"?from=x&to=1", "?from=NaN&to=NaN", "?from=2&to=1", "?from=-1e300&to=1e300", "?from=1&to=1"} {
		d.get(at.Path + wrong)
		assert.Equal(t, http.StatusOK, d.status, wrong)
		d.get(strings.Replace(at.Path, "/trace/", "/waveform/", 1) + wrong)
		assert.Equal(t, http.StatusOK, d.status, wrong)
		assert.NotContains(t, d.body, "NaN")
	}
	d.get("/trace/nothing/1").refused(http.StatusNotFound)
	d.get("/waveform/" + b.runs()[0] + "/1").refused(http.StatusNotFound)
}

// TestBayDivision: a time off a screen is taken only with the screen's
// division, on keys of its own, read back with it, and recorded with it.
func TestBayDivision(t *testing.T) {
	b := newChargeBench(t)
	d := b.device().get("/begin/charge")
	d.post("/begin/charge", "operator", "operator", "with.scope", "scope-1")
	d.get("/run").upload("/run/answer", "", "ramp.csv", ramp(20_000))
	require.Equal(t, http.StatusOK, d.status, d.words())
	if strings.Contains(d.words(), "Once more with the reason") {
		d.answer("then", "failed", "reason", "as it is")
	}
	if !strings.Contains(d.words(), "Time per division") {
		t.Fatal(d.words())
	}
	d.answer("digits", "31.2", "unit", "ms").refused(http.StatusUnprocessableEntity, "The division of the screen: No digits were typed")
	d.answer("digits", "31.2", "unit", "ms", "division", "10").refused(http.StatusUnprocessableEntity, "The division of the screen: No unit was chosen")
	d.answer("digits", "31.2", "unit", "ms", "division", "10", "division_unit", "ms").says("31.2 ms at 10 ms per division", "thirty-one point two millisecond, at ten millisecond per division")
	n := b.size()
	d.answer()
	require.Equal(t, http.StatusOK, d.status, d.words())
	assert.Greater(t, b.size(), n)
	found := false
	for _, m := range b.s.history.Runs() {
		for _, e := range m.Events() {
			if e.Body.Path == "quick" && e.Body.Text("division") != "" {
				found = true
				assert.Equal(t, "0.01", e.Body.Text("division"))
			}
		}
	}
	assert.True(t, found, "the division is on record")
}

// TestBayUploadStreams: a large file goes to the disk as it comes; one that
// breaks off leaves nothing, nor does one whose form is not this device's.
func TestBayUploadStreams(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(3)
	n := b.size()
	send := func(token string, size int64, cut bool) (int, error) {
		from, to := io.Pipe()
		w := multipart.NewWriter(to)
		go func() {
			_ = w.WriteField("token", token)
			_ = w.WriteField("mark", d.form("/run/note").Get("mark"))
			f, _ := w.CreateFormFile("file", "long.csv")
			block := bytes.Repeat([]byte("0123456789abcdef"), 4096)
			for sent := int64(0); sent < size; sent += int64(len(block)) {
				if _, err := f.Write(block); err != nil {
					return
				}
			}
			if cut {
				_ = to.CloseWithError(io.ErrUnexpectedEOF)
				return
			}
			_ = w.Close()
			_ = to.Close()
		}()
		r, err := d.client.Post(d.srv.URL+"/run/note", w.FormDataContentType(), from)
		if err != nil {
			return 0, err
		}
		defer r.Body.Close()
		return r.StatusCode, nil
	}
	token := d.form("/run/note").Get("token")
	status, err := send(token, 100<<20, false)
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, status)
	assert.Equal(t, n+1, b.size())
	blobs := blobsOf(t, b.car.dir)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err = send(token, 200<<20, true)
	runtime.ReadMemStats(&after)
	require.Error(t, err)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(32<<20), "200 MB that come in are not held in memory")
	status, err = send("0000", 8<<20, false)
	if err == nil { // or the server hangs up before all of it was sent
		assert.Equal(t, http.StatusForbidden, status)
	}
	var late bytes.Buffer // the right token, but behind the file: nothing is taken in before it is known
	w := multipart.NewWriter(&late)
	f, err := w.CreateFormFile("file", "first.csv")
	require.NoError(t, err)
	_, _ = f.Write([]byte("1,2"))
	require.NoError(t, w.WriteField("token", token))
	require.NoError(t, w.Close())
	r, err := d.client.Post(d.srv.URL+"/run/note", w.FormDataContentType(), &late)
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, http.StatusForbidden, r.StatusCode)
	assert.Eventually(t, func() bool { return len(blobsOf(t, b.car.dir)) == len(blobs) }, 5*time.Second, 20*time.Millisecond, "nothing half is left")
	assert.Equal(t, n+1, b.size())
	d.get("/run").answer("text", "sound")
	require.Equal(t, http.StatusOK, d.status, d.words())
}

// blobsOf lists every file in a car folder's blobs, half written ones too.
func blobsOf(t *testing.T, dir string) (names []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(filepath.Join(dir, "blobs"), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, filepath.Base(path))
		}
		if os.IsNotExist(err) {
			return nil
		}
		return err
	}))
	return names
}

// TestBayKilledInUpload: the program is killed while a file comes in; begun
// again, nothing of the file is there, and the run goes on.
func TestBayKilledInUpload(t *testing.T) {
	car := newCar(t, t.TempDir())
	car.write("procedures/walk.yaml", walk)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	port := l.Addr().(*net.TCPAddr).Port
	require.NoError(t, l.Close())
	serve := func() (stop func()) {
		command := car.command("bay", "--port", fmt.Sprint(port))
		out, err := command.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, command.Start())
		line := make([]byte, 64)
		_, err = out.Read(line)
		require.NoError(t, err)
		return func() { _ = command.Process.Kill(); _ = command.Wait() }
	}
	stop := serve()
	b := &bench{t: t, car: car}
	d := &device{bench: b, client: &http.Client{Jar: newJar(t)}}
	address := fmt.Sprintf("http://127.0.0.1:%d", port)
	take := func(path string) { d.took(d.client.Get(address + path)) }
	send := func(path string, pairs ...string) {
		v := d.form(path)
		for i := 0; i < len(pairs); i += 2 {
			v.Add(pairs[i], pairs[i+1])
		}
		d.took(d.client.PostForm(address+path, v))
	}
	take("/")
	take("/begin/walk")
	send("/begin/walk", "operator", "operator", "witness", "witness", "releaser", "releaser")
	require.Equal(t, "/run", d.where, d.words())
	kept, token := blobsOf(t, car.dir), d.form("/run/note").Get("token")
	size, err := logSize(car.dir)
	require.NoError(t, err)
	from, to := io.Pipe()
	w := multipart.NewWriter(to)
	go func() { _, _ = d.client.Post(address+"/run/note", w.FormDataContentType(), from) }()
	require.NoError(t, w.WriteField("token", token))
	f, err := w.CreateFormFile("file", "long.csv")
	require.NoError(t, err)
	for range 64 {
		_, err := f.Write(make([]byte, 64<<10))
		require.NoError(t, err)
	}
	require.Eventually(t, func() bool { return len(blobsOf(t, car.dir)) == len(kept)+1 }, 5*time.Second, 5*time.Millisecond, "the file is coming in")
	stop()
	_ = to.CloseWithError(io.ErrClosedPipe)
	stop = serve()
	defer stop()
	assert.Equal(t, kept, blobsOf(t, car.dir), "nothing half is left")
	now, err := logSize(car.dir)
	require.NoError(t, err)
	assert.Equal(t, size, now)
	take("/run")
	d.says("The state of the car first")
}
