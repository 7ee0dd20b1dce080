package bay

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"hvproof/internal/diag"
)

// A Device is a browser that may see the page.
type Device struct {
	ID    string // the first letters of the hash of its cookie
	Name  string
	Since time.Time
	hash  string // SHA-256 of its cookie, hexadecimal
}

const (
	maxDevices   = 32
	codeDigits   = 8
	codeLifetime = 10 * time.Minute
	codeTries    = 5 // wrong ones before a code ends
)

// devices are those that were paired, kept in a file so that they stay paired
// when the page is served again; and the one pairing code that counts now.
type devices struct {
	mu     sync.Mutex
	dir    string
	random io.Reader
	now    func() time.Time
	secret []byte
	list   []Device

	code  string
	until time.Time
	tries int
}

func openDevices(dir string, random io.Reader, now func() time.Time) (*devices, error) {
	d := &devices{dir: dir, random: random, now: now}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, machine(err)
	}
	var err error
	if d.secret, err = keep(filepath.Join(dir, "form-key"), func() ([]byte, error) { return d.bytes(32) }); err != nil {
		return nil, err
	}
	if len(d.secret) != 32 {
		return nil, diag.Machine("delete the file, it is made anew", "%s: is not a key of 32 bytes", filepath.Join(dir, "form-key"))
	}
	text, err := os.ReadFile(d.file())
	if errors.Is(err, fs.ErrNotExist) {
		return d, nil
	}
	if err != nil {
		return nil, machine(err)
	}
	for line := range strings.Lines(string(text)) {
		f := strings.SplitN(strings.TrimSuffix(line, "\n"), " ", 3)
		since, err := time.Parse(time.RFC3339, at(f, 1))
		if len(f) != 3 || err != nil || len(f[0]) != 64 {
			return nil, diag.Machine("delete the file and pair the devices again", "%s: a line is not a device", d.file())
		}
		d.list = append(d.list, Device{ID: f[0][:8], Name: f[2], Since: since, hash: f[0]})
	}
	return d, nil
}

func at(list []string, i int) string {
	if i < len(list) {
		return list[i]
	}
	return ""
}

func machine(err error) error {
	return &diag.Error{Class: diag.ClassMachine, Message: err.Error(), Err: err}
}

// keep reads a small private file, or makes it with what fill gives.
func keep(path string, fill func() ([]byte, error)) ([]byte, error) {
	b, err := os.ReadFile(path)
	if !errors.Is(err, fs.ErrNotExist) {
		if err != nil {
			return nil, machine(err)
		}
		return b, nil
	}
	if b, err = fill(); err != nil {
		return nil, err
	}
	if err := writePrivate(path, b); err != nil {
		return nil, err
	}
	return b, nil
}

// writePrivate replaces a file as a whole; none but its owner may read it.
func writePrivate(path string, b []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // 0600
	if err != nil {
		return machine(err)
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return machine(err)
	}
	return nil
}

func (d *devices) file() string { return filepath.Join(d.dir, "devices") }

func (d *devices) save() error {
	var b strings.Builder
	for _, v := range d.list {
		fmt.Fprintf(&b, "%s %s %s\n", v.hash, v.Since.UTC().Format(time.RFC3339), v.Name)
	}
	return writePrivate(d.file(), []byte(b.String()))
}

func (d *devices) bytes(n int) ([]byte, error) {
	b := make([]byte, n)
	if _, err := io.ReadFull(d.random, b); err != nil {
		return nil, machine(err)
	}
	return b, nil
}

// add makes a device known and gives its cookie.
func (d *devices) add(name string) (Device, string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	b, err := d.bytes(32)
	if err != nil {
		return Device{}, "", err
	}
	cookie := hex.EncodeToString(b)
	v := Device{Name: cleanName(name, len(d.list)+1), Since: d.now(), hash: hashed(cookie)}
	v.ID = v.hash[:8]
	d.list = append(d.list, v)
	if over := len(d.list) - maxDevices; over > 0 {
		d.list = d.list[over:]
	}
	return v, cookie, d.save()
}

// cleanName keeps a name to what can stand on one line of the file and page.
func cleanName(name string, n int) string {
	name = strings.Join(strings.Fields(diag.Printable(name)), " ")
	if r := []rune(name); len(r) > 32 {
		name = string(r[:32])
	}
	if name == "" {
		return fmt.Sprintf("device %d", n)
	}
	return name
}

func hashed(cookie string) string {
	h := sha256.Sum256([]byte(cookie))
	return hex.EncodeToString(h[:])
}

// of gives the device whose cookie it is.
func (d *devices) of(cookie string) (Device, bool) {
	if cookie == "" {
		return Device{}, false
	}
	h := hashed(cookie)
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, v := range d.list {
		if hmac.Equal([]byte(v.hash), []byte(h)) {
			return v, true
		}
	}
	return Device{}, false
}

// out throws a device out.
func (d *devices) out(id string) (bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, v := range d.list {
		if v.ID == id {
			d.list = append(d.list[:i:i], d.list[i+1:]...)
			return true, d.save()
		}
	}
	return false, nil
}

func (d *devices) all() []Device {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]Device(nil), d.list...)
}

// name gives a device's name.
func (d *devices) name(id string) string {
	for _, v := range d.all() {
		if v.ID == id {
			return v.Name
		}
	}
	return id
}

// token gives what the forms of a device's pages must carry.
func (d *devices) token(cookie string) string {
	h := hmac.New(sha256.New, d.secret)
	h.Write([]byte("form " + cookie))
	return hex.EncodeToString(h.Sum(nil))
}

// newCode makes a pairing code; the one before ends.
func (d *devices) newCode() (string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.makeCode()
}

func (d *devices) makeCode() (string, error) {
	b, err := d.bytes(16)
	if err != nil {
		return "", err
	}
	var code strings.Builder
	for _, x := range b[:codeDigits] {
		for x >= 250 { // the rest would favour the digits 0 to 5
			more, err := d.bytes(1)
			if err != nil {
				return "", err
			}
			x = more[0]
		}
		code.WriteByte('0' + x%10)
	}
	d.code, d.until, d.tries = code.String(), d.now().Add(codeLifetime), 0
	return d.code, nil
}

// pair takes a code: good once, for ten minutes, and for five tries. ended
// tells that the code that stood is void now, if it was wrong once too often.
func (d *devices) pair(code string) (ok, ended bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.code == "" || d.now().After(d.until) {
		return false, false
	}
	if hmac.Equal([]byte(strings.Join(strings.Fields(code), "")), []byte(d.code)) {
		d.code = ""
		return true, false
	}
	d.tries++
	if d.tries >= codeTries {
		d.code = ""
		return false, true
	}
	return false, false
}
