package main

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bay"
)

// fill takes a dialogue of the page from question to question: each pair is
// the field that must be asked, and its answer; "" is none.
func (d *device) fill(address string, signer string, pairs ...string) *device {
	d.t.Helper()
	d.get(address)
	require.Equal(d.t, http.StatusOK, d.status, d.words())
	d.post(address, "signer", signer)
	for i := 0; i < len(pairs); i += 2 {
		d.asked(pairs[i])
		if pairs[i+1] == "" {
			d.post(address, "none", "yes")
		} else {
			d.post(address, "answer", pairs[i+1])
		}
		require.Equal(d.t, http.StatusOK, d.status, "%s: %s", pairs[i], d.words())
	}
	return d
}

// asked wants the page to ask for this field.
func (d *device) asked(key string) {
	d.t.Helper()
	require.Contains(d.t, d.body, `<input type="hidden" name="asked" value="`+key+`">`, d.words())
}

// typedReading takes one reading of a dialogue through the pad, and wants it to
// be read back in words.
func (d *device) typedReading(address, quantity, digits, unit, of, words string) {
	d.t.Helper()
	d.post(address, "quantity", quantity)
	d.post(address, "go", "yes", "digits", digits, "unit", unit, "of", of)
	require.Equal(d.t, http.StatusOK, d.status, d.words())
	d.says("Read aloud", words, "Nothing is recorded yet")
	d.post(address, "go", "yes")
	require.Equal(d.t, http.StatusOK, d.status, d.words())
}

// photo answers the question for photographs.
func (d *device) photo(address string, names ...string) *device {
	d.t.Helper()
	var contents [][]byte
	for _, name := range names {
		contents = append(contents, []byte("\x89PNG\r\n\x1a\n"+name))
	}
	return d.photos(address, names, contents)
}

func (d *device) photos(address string, names []string, contents [][]byte) *device {
	d.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	require.NoError(d.t, w.WriteField("token", d.form(address).Get("token")))
	for name, values := range d.form(address) {
		for _, value := range values {
			if name != "token" {
				require.NoError(d.t, w.WriteField(name, value))
			}
		}
	}
	for i, name := range names {
		f, err := w.CreateFormFile("file", name)
		require.NoError(d.t, err)
		_, err = f.Write(contents[i])
		require.NoError(d.t, err)
	}
	require.NoError(d.t, w.Close())
	d.took(d.client.Post(d.srv.URL+address, w.FormDataContentType(), &body))
	return d
}

// TestBayWork: work on HV is recorded over the page with what the form asks,
// with photographs, and makes void what rework.yaml says.
func TestBayWork(t *testing.T) {
	b := newBench(t)
	d := b.device().get("/work").says("No work on HV is on record")
	n := b.size()
	const at = "/paper/work"
	d.get(at).says("Who signs this?")
	d.post(at, "signer", "nobody").refused(http.StatusUnprocessableEntity, "Nobody was chosen")
	d.fill(at, "operator", "work", "module_swapped").asked("parts")
	d.says("main")
	d.post(at, "answer", "mian").refused(http.StatusUnprocessableEntity, "there is no part of this car")
	d.asked("parts")
	d.post(at).refused(http.StatusUnprocessableEntity, "nothing was said")
	d.post(at, "answer", "main", "answer", "")
	for _, pair := range [][2]string{{"text", "mid-link refitted"}, {"reason", "read half a string"}, {"by", "operator"}, {"done", "2027-03-20, before noon"}} {
		d.asked(pair[0])
		d.post(at, "answer", pair[1])
		require.Equal(t, http.StatusOK, d.status, d.words())
	}
	d.asked("found")
	d.post(at, "next", "yes", "answer", "201 volts or so").refused(http.StatusUnprocessableEntity, "not a reading as the pad makes it")
	d.get(at).fill(at, "operator", "work", "module_swapped", "parts", "main", "text", "mid-link refitted", "reason", "read half a string", "by", "operator", "done", "2027-03-20, before noon")
	d.post(at, "quantity", "voltage").says("millivolt", "kilovolt")
	assert.NotContains(t, d.body, "megohm", "only a voltage's units can be chosen")
	d.post(at, "go", "yes", "digits", "201").refused(http.StatusUnprocessableEntity, "No unit was chosen")
	d.post(at, "go", "yes", "digits", "201", "unit", "MΩ").refused(http.StatusUnprocessableEntity, "not one of this step's")
	d.post(at, "go", "yes", "digits", "201", "unit", "V", "of", "behind it 3 MΩ").refused(http.StatusUnprocessableEntity, "A number with its unit stands among the words")
	d.post(at, "other", "yes")
	d.typedReading(at, "voltage", "201", "V", "", "two hundred and one volt")
	d.typedReading(at, "resistance", "0.3", "MΩ", "at the lug", "zero point three megohm")
	d.says("0.3 MΩ, at the lug")
	d.post(at, "without", "0.3 MΩ, at the lug")
	assert.NotContains(t, d.body, "0.3 MΩ, at the lug")
	d.typedReading(at, "resistance", "0.3", "mΩ", "at the lug", "zero point three milliohm")
	d.asked("found")
	d.post(at, "next", "yes")
	d.asked("left")
	d.says("201 V", "0.3 mΩ, at the lug", "0.3 mΩ: zero point three milliohm")
	// An earlier answer is changed; the later ones stay.
	d.post(at, "back", "text").says("mid-link refitted")
	d.asked("text")
	d.post(at, "answer", "mid-link refitted and torqued")
	d.asked("left")
	d.post(at, "none", "yes")
	d.asked("values")
	d.post(at, "none", "yes")
	d.asked("photos")
	blobs := blobsOf(t, b.car.dir)
	d.photos(at, []string{"huge.png"}, [][]byte{make([]byte, 33<<20)}).refused(http.StatusRequestEntityTooLarge, "32 MiB at most")
	d.asked("photos")
	assert.Equal(t, blobs, blobsOf(t, b.car.dir), "a photograph that was refused is not kept")
	d.photo(at, "one.png", "two.png")
	require.Equal(t, http.StatusOK, d.status, d.words())
	d.asked("seal")
	d.post(at, "none", "yes").says("Is every word right?", "one.png", "two.png", "VOID", "operator signs this", "Nothing is recorded yet")
	assert.Equal(t, n, b.size(), "nothing is recorded before it is signed")
	require.Len(t, d.form(at)["a.photos"], 2)
	d.post(at, "record", "yes")
	require.Equal(t, "/work", d.where, d.words())
	assert.Equal(t, n+1, b.size())
	d.says("mid-link refitted and torqued", "201 V", "0.3 mΩ, at the lug", "Photograph 1", "Photograph 2")
	works := b.s.record.Works()
	require.Len(t, works, 1)
	assert.Equal(t, []string{"packs.main"}, works[0].Parts)
	assert.Equal(t, []string{"201 V", "0.3 mΩ, at the lug"}, works[0].Found)
	require.Len(t, works[0].Photos, 2)
	d.get("/file/" + works[0].Photos[0])
	assert.Contains(t, d.body, "PNG")
	assert.Equal(t, http.StatusOK, d.status)
	b.end()
	r := b.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// TestBayWorkTwice: the same form sent again, after a lost reply or a restart,
// records nothing anew; the same work done once more is another form.
func TestBayWorkTwice(t *testing.T) {
	b := newBench(t)
	d := b.device()
	const at = "/paper/item"
	answers := []string{"item", "cover", "text", "cover of the box is off", "parts", "", "blocks", "power"}
	d.fill(at, "operator", answers...).says("yes, it keeps power off")
	n, sent := b.size(), d.form(at)
	sent.Set("record", "yes")
	d.send(at, sent)
	require.Equal(t, "/", d.where, d.words())
	d.says("cover of the box is off", "keeps power off")
	d.send(at, sent).refused(http.StatusConflict, "nothing was recorded anew")
	old := b.srv.URL
	b.again()
	d.moved(old)
	d.send(at, sent).refused(http.StatusConflict, "nothing was recorded anew")
	assert.Equal(t, n+1, b.size())
	d.fill(at, "operator", answers...).post(at, "record", "yes")
	assert.Equal(t, n+2, b.size())
	d.get("/paper/nothing").refused(http.StatusUnprocessableEntity)
	d.get("/paper/decide/n99").refused(http.StatusUnprocessableEntity, "there is no nonconformance")
}

// TestBayDecide: a nonconformance is decided over the page, by a releaser.
func TestBayDecide(t *testing.T) {
	b := newBench(t)
	d := b.device().begin().upTo(9)
	d.read("182", "mΩ").answer("then", "failed", "reason", "paint under the lug")
	for d.get("/run").where == "/run" && strings.Contains(d.body, `action="/run/answer"`) {
		if strings.Contains(d.body, `value="fitted"`) {
			d.answer("text", "fitted")
			break
		}
		d.answer()
	}
	d.get("/")
	at := regexpFind(t, `href="(/paper/decide/n\d+)"`, d.body)
	d.get(at).says("releaser")
	assert.NotContains(t, d.body, `name="signer" value="operator"`, "an operator does not decide")
	d.fill(at, "releaser", "disposition", "rework", "cause", "not found").asked("checks")
	d.post(at, "answer", "lug cleaned\nread again at the bolt")
	d.asked("text")
	d.post(at, "none", "yes").says("lug cleaned", "read again at the bolt")
	n := b.size()
	d.post(at, "record", "yes")
	require.Equal(t, "/", d.where, d.words())
	assert.Equal(t, n+1, b.size())
	d.says("has not passed since it was decided")
}

// TestBayOfLogBefore: an open item and a nonconformance of the log that this one
// goes on from are closed and decided on the page; the same form sent again
// records nothing anew.
func TestBayOfLogBefore(t *testing.T) {
	b := newBench(t)
	d := b.device()
	d.fill("/paper/item", "operator", "item", "cover", "text", "cover of the box is off", "parts", "", "blocks", "power").post("/paper/item", "record", "yes")
	d.begin().upTo(9)
	d.read("182", "mΩ").answer("then", "failed", "reason", "paint under the lug")
	require.Contains(t, d.get("/").body, "/paper/decide/n")
	b.end()
	b.car.config = t.TempDir()
	r := b.car.in("person", "hand-over", "releaser", "--reason", "a new laptop")
	require.Equal(t, 0, r.code, r.talk)
	b.serve()
	d = b.device()
	item, decide := regexpFind(t, `href="(/items/i\d+@[^"]+)"`, d.body), regexpFind(t, `href="(/paper/decide/n\d+@[^"]+)"`, d.body)
	n := b.size()
	d.get(item).post(item, "text", "bolted on", "by", "operator", "person", "releaser").says("Read aloud", "bolted on")
	sent := d.form(item)
	sent.Set("read", regexpFind(t, `name="read" value="([0-9a-f]{32})"`, d.body))
	d.send(item, sent)
	require.Equal(t, "/", d.where, d.words())
	assert.Equal(t, n+2, b.size(), "it is carried on here, and closed")
	assert.NotContains(t, d.body, item)
	d.send(item, sent).refused(http.StatusNotFound, "No such item is open")
	d.get("/").says("Closed items (1)", "cover of the box is off")
	d.fill(decide, "releaser", "disposition", "rework", "cause", "paint under the lug", "text", "")
	last := d.form(decide)
	last.Set("record", "yes")
	d.send(decide, last)
	require.Equal(t, "/", d.where, d.words())
	assert.Equal(t, n+4, b.size(), "it stands here, and is decided")
	d.says("has not passed since it was decided")
	d.send(decide, last)
	assert.Equal(t, n+4, b.size(), "sent again, nothing is recorded anew: %s", d.words())
	assert.NotEqual(t, http.StatusOK, d.status)
	b.end()
	r = b.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// live is a procedure that needs a sanction for test.
const live = `format: 1
procedure: alive
title: Alive
stage: C
live: true
purpose: Live.
proves: {alive: [main]}
people: {least: 2}
make_safe: [Leads off.]
steps:
  - {id: seen, observe: It is live., choices: [no, "yes"], expect: "yes"}
`

// TestBaySanction: a sanction for test takes two people with their own
// passphrases, or nothing is recorded; a permit is refused with all reasons.
func TestBaySanction(t *testing.T) {
	b := newRealBench(t)
	b.car.write("procedures/alive.yaml", live)
	d := b.device().get("/permits").says("No permit to energise is in force", "Alive")
	d.says("Only at the machine", `hvproof permit grant --force --reason "…"`, "hvproof permit grant --copy …", "end the program that serves this page first")
	d.get("/paper/permit").says("Refused, for now", "is missing", `hvproof permit grant --force --reason "…"`)
	for _, flags := range [][]string{{"--force", "--reason", "racing today"}, {"--copy", t.TempDir()}} {
		r := b.car.in(append([]string{"permit", "grant"}, flags...)...)
		assert.Equal(t, 4, r.code, "the page says that it must end first: %s", r.talk)
	}
	assert.NotContains(t, d.body, `name="signer"`)
	const at = "/paper/sanction/alive"
	d.get(at).says("Refused, for now", "is missing") // stage A comes first
	assert.NotContains(t, d.body, `name="signer"`)
	d.send(at, url.Values{"token": {d.form("/stop").Get("token")}, "signer": {"d.vance"}, "asked": {"people"}, "answer": {"r.mills"}}).says("Refused, for now")
	b.car.write("vehicle.yaml", strings.Replace(b.car.read("vehicle.yaml"), "required: [bench]", "required: [alive]", 1))
	d.fill(at, "d.vance", "people", "r.mills\ns.okoro").asked("until")
	d.post(at, "answer", "soon").refused(http.StatusUnprocessableEntity, "is not a time")
	d.post(at, "answer", b.s.now().Add(2*3600e9).Format("2006-01-02 15:04"))
	d.asked("barrier")
	d.post(at, "answer", "chains round the bay")
	d.asked("conditions")
	d.post(at, "none", "yes")
	d.asked("second")
	d.post(at, "answer", "d.vance").refused(http.StatusUnprocessableEntity, "two signatures are two people")
	d.post(at, "answer", "r.mills").says("Passphrase of d.vance", "Passphrase of r.mills")
	n := b.size()
	d.post(at, "record", "yes", "passphrase.0", "river otter lamp", "passphrase.1", "wrong").refused(http.StatusForbidden, "does not open the key")
	assert.Equal(t, n, b.size(), "one signature alone is not recorded")
	assert.Empty(t, b.s.keys, "no key stays open")
	assert.NotContains(t, d.body, "river otter lamp")
	d.post(at, "record", "yes", "passphrase.0", "river otter lamp", "passphrase.1", "quiet copper door")
	require.Equal(t, "/permits", d.where, d.words())
	assert.Equal(t, n+2, b.size())
	assert.Empty(t, b.s.keys, "each key was open for its one signature")
	d.says("alive, until", "in force", "d.vance, r.mills", "chains round the bay")
	end := regexpFind(t, `href="(/paper/end/\d+)"`, d.body)
	d.fill(end, "s.okoro", "reason", "done for today").post(end, "record", "yes", "passphrase.0", "seven dry leaves").says("not in force", "ended: done for today")
	d.get(end).refused(http.StatusConflict, "nothing of that is in force")
}

// TestBayPapersGuarded: wrong passphrases under a form count for the person,
// on whatever device; a device that was thrown out signs nothing; and stop is
// on these pages, too.
func TestBayPapersGuarded(t *testing.T) {
	b := newRealBench(t)
	d, other := b.device(), b.device()
	const at = "/paper/item"
	answers := []string{"item", "cover", "text", "cover off", "parts", "", "blocks", "power"}
	d.fill(at, "r.mills", answers...)
	other.fill(at, "r.mills", answers...)
	for _, x := range []*device{d, other} {
		assert.Contains(t, x.body, `<button class="stop">`)
	}
	n := b.size()
	for i := range 5 {
		[]*device{d, other}[i%2].post(at, "record", "yes", "passphrase.0", "guess").refused(http.StatusForbidden, "does not open the key")
	}
	d.post(at, "record", "yes", "passphrase.0", "quiet copper door").refused(http.StatusTooManyRequests, "Too many wrong passphrases for r.mills")
	assert.Equal(t, n, b.size())
	b.skew += 61 * time.Second
	assert.NotContains(t, d.body, "quiet copper door")
	bad := d.form(at)
	bad.Set("token", other.form(at).Get("token"))
	bad.Set("record", "yes")
	bad.Set("passphrase.0", "quiet copper door")
	d.send(at, bad).refused(http.StatusForbidden, "not drawn for this device")
	forged, err := http.NewRequest("POST", d.srv.URL+at, strings.NewReader(other.form(at).Encode()))
	require.NoError(t, err)
	forged.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	forged.Header.Set("Origin", "https://evil.example")
	r, err := other.client.Do(forged)
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, http.StatusForbidden, r.StatusCode)
	assert.Equal(t, n, b.size())
	// Answers that the form would refuse are refused at the end, too, whatever a
	// page made by hand says that it was asked.
	made := other.form(at)
	made.Set("a.blocks", "everything")
	made.Set("record", "yes")
	made.Set("passphrase.0", "quiet copper door")
	other.send(at, made).refused(http.StatusUnprocessableEntity, "is not an answer here")
	made.Set("a.blocks", "power")
	made.Set("signer", "k.brandt")
	other.send(at, made).refused(http.StatusUnprocessableEntity, "Nobody was chosen")
	assert.Equal(t, n, b.size())
	made.Set("signer", "r.mills")
	other.send(at, made)
	require.Equal(t, "/", other.where, other.words())
	assert.Equal(t, n+1, b.size())
	assert.Empty(t, b.s.keys)
}

// TestBayBaseline: the runs that proofs rest on are made the baseline by two
// people; where nothing holds there is none to be made.
func TestBayBaseline(t *testing.T) {
	b := newBench(t)
	const at = "/paper/baseline"
	d := b.device().get(at).refused(http.StatusConflict, "no proof holds")
	d.begin().upTo(11)
	d.get("/readings").says("baseline for later readings")
	d.fill(at, "releaser", "reason", "commissioned, dry", "second", "operator").says("walk "+b.runs()[0], "releaser signs this", "operator signs this")
	n := b.size()
	d.post(at, "record", "yes")
	require.Equal(t, "/readings", d.where, d.words())
	assert.Equal(t, n+2, b.size())
	require.NotNil(t, b.s.record.Baseline())
	assert.Equal(t, b.runs(), b.s.record.Baseline().Runs)
	b.end()
	r := b.car.in("verify")
	assert.Equal(t, 0, r.code, r.out+r.talk)
}

// TestBayAsksAsTheForms: the built-in wording asks in the very words of the
// forms that a terminal asks, and has a text for every one of them.
func TestBayAsksAsTheForms(t *testing.T) {
	texts, asks, found := bay.BuiltInWordingFile(), regexp.MustCompile(`Ask: "([^"]+)"`), 0
	for name, from := range map[string][]string{"rework/form.go": {"Form"}, "readiness/itemform.go": {"AddForm", "DecideForm"}, "readiness/permitform.go": {"GrantForm", "secondField"}, "readiness/endform.go": {"EndForm"}, "readiness/baseline.go": {"BaselineForm"}} {
		source, err := os.ReadFile(filepath.Join("..", "..", "internal", filepath.FromSlash(name)))
		require.NoError(t, err)
		for _, function := range strings.Split(string(source), "\nfunc ") {
			named, _, _ := strings.Cut(function[strings.Index(function, ") ")+1:], "(")
			named = strings.TrimSpace(first(regexp.MustCompile(`^\w+`).FindString(function), named))
			if !slices.Contains(from, named) {
				continue
			}
			for _, m := range asks.FindAllStringSubmatch(function, -1) {
				found++
				assert.Contains(t, texts, " = "+m[1]+"\n", name)
			}
		}
	}
	assert.Greater(t, found, 20)
}
