package home

import (
	"bytes"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"hvproof/internal/diag"
)

// Home is the configuration folder of one user on one device. Its methods may
// be called from several goroutines and several programs at once.
type Home struct {
	dir    string
	random io.Reader
}

// Open returns the configuration folder dir. Nothing is read or created before
// it is needed, so that commands that only read work without the folder. New
// keys and the device id are made from random, which must be a source fit for
// keys outside tests.
func Open(dir string, random io.Reader) (*Home, error) {
	if dir == "" {
		return nil, diag.Bad("set HVPROOF_CONFIG to a folder of your own", "no configuration folder")
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, machine(err, "configuration folder %s", dir)
	}
	info, err := os.Stat(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, machine(err, "configuration folder %s", abs)
	case !info.IsDir():
		return nil, diag.Bad("set HVPROOF_CONFIG to a folder", "%s: is not a folder", abs)
	}
	return &Home{dir: abs, random: random}, nil
}

// Dir returns the absolute path of the configuration folder.
func (h *Home) Dir() string { return h.dir }

// deviceIDLetters is the length of a device id: 40 bits, so that among a
// thousand devices two share a name with a probability below one in a million.
const deviceIDLetters = 8

var base32Lower = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// DeviceID returns the name of this device, eight characters a-z2-7. It is made
// at the first call and stays the same from then on.
func (h *Home) DeviceID() (string, error) {
	path := filepath.Join(h.dir, "device-id")
	data, err := readRegular(path)
	if errors.Is(err, fs.ErrNotExist) {
		var id string
		if id, err = RandomID(h.random); err != nil {
			return "", err
		}
		err = createOnce(path, []byte(id+"\n"), privateMode)
		if err != nil && !errors.Is(err, fs.ErrExist) {
			return "", machine(err, "making %s", path)
		}
		data, err = readRegular(path) // another program may have been first
	}
	if err != nil {
		return "", machine(err, "reading %s", path)
	}
	id, ended := bytes.CutSuffix(data, []byte("\n"))
	if !ended || !isRandomID(string(id)) {
		return "", diag.Machine("delete the file to give this device a new name; its logs then need a hand-over",
			"%s: is not a device id of %d characters a-z2-7 and a line feed", path, deviceIDLetters)
	}
	return string(id), nil
}

// RandomID returns eight random characters a-z2-7, as used for device ids and
// for the last part of a log's origin.
func RandomID(random io.Reader) (string, error) {
	raw := make([]byte, deviceIDLetters*5/8)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", machine(err, "reading random bytes")
	}
	return base32Lower.EncodeToString(raw), nil
}

func isRandomID(s string) bool {
	return len(s) == deviceIDLetters && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz234567") == ""
}

// maxName bounds the file names made here, all file systems in use take 255.
const maxName = 240

// fileName returns prefix, the escaped name and suffix as one file name.
func fileName(prefix, name, suffix string) (string, error) {
	if name == "" {
		return "", diag.Bad("", "a log without origin")
	}
	var b strings.Builder
	b.WriteString(prefix)
	for _, c := range []byte(name) {
		switch {
		case 'a' <= c && c <= 'z', '0' <= c && c <= '9', c == '.', c == '-':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "_%02x", c)
		}
	}
	b.WriteString(suffix)
	if b.Len() > maxName {
		return "", diag.Bad("", "origin %.40q… is too long: its file would have a name of %d bytes, %d at most", name, b.Len(), maxName)
	}
	return b.String(), nil
}

// machine returns an error of class Machine that keeps err for errors.Is.
func machine(err error, format string, a ...any) error {
	return &diag.Error{Class: diag.ClassMachine, Message: fmt.Sprintf(format, a...), Err: err}
}
