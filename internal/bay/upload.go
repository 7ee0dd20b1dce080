package bay

import (
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"
)

const (
	maxForm  = 64 << 10 // bytes of a form beside its files
	maxPhoto = 32 << 20 // bytes of a photograph of work on HV, as at a terminal
	maxFile  = 1 << 30  // bytes of a photograph or a recorder's file, as at a terminal
)

// stalled is how long nothing of a file may come before it is given up.
const stalled = 30 * time.Second

// A File came from a device and lies in the log's store, nameless until it is
// kept. What is neither kept nor discarded when the program ends is removed
// when it begins again.
type File interface {
	Digest() [32]byte
	Size() int64
	Bytes() ([]byte, error)
	// Keep gives it its name: an entry may name it then.
	Keep() error
	Discard()
}

type upload struct {
	File
	name string
}

// errForm is a form that cannot be read, or is too long.
var errForm = errors.New("form")

// readForm reads a form. Files go to the store as they come, and only after
// the form's token was found to be this device's.
func (c *call) readForm() error {
	kind, parameters, _ := mime.ParseMediaType(c.r.Header.Get("Content-Type"))
	if kind != "multipart/form-data" {
		c.r.Body = http.MaxBytesReader(c.w, c.r.Body, maxForm)
		if c.r.ParseForm() != nil {
			return errForm
		}
		return nil
	}
	body := &patient{r: http.MaxBytesReader(c.w, c.r.Body, maxFile+2*maxForm), to: http.NewResponseController(c.w)}
	parts := multipart.NewReader(body, parameters["boundary"])
	values, room := url.Values{}, int64(maxForm)
	c.r.Form, c.r.PostForm = values, values
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return body.done()
		}
		if err != nil {
			return errForm
		}
		if part.FileName() != "" {
			if err := c.receive(part); err != nil {
				return err
			}
			continue
		}
		text, err := io.ReadAll(io.LimitReader(part, room+1))
		if room -= int64(len(text)); err != nil || room < 0 {
			return errForm
		}
		values.Add(part.FormName(), string(text))
	}
}

// receive takes a file in.
func (c *call) receive(part *multipart.Part) error {
	if part.FormName() != "file" || !c.tokenFits() {
		return errToken
	}
	f, err := c.s.desk.car.Receive(part)
	if err != nil {
		return err
	}
	name := cleanName(path.Base(strings.ReplaceAll(part.FileName(), `\`, "/")), 1)
	c.files = append(c.files, upload{f, name})
	return nil
}

// errToken is a form whose token is not this device's.
var errToken = errors.New("token")

// discard gives up the files that were not kept.
func (c *call) discard() {
	for _, f := range c.files {
		f.Discard()
	}
}

// file gives the form's file, nil if there is none.
func (c *call) file() *upload {
	if len(c.files) == 0 || c.files[0].Size() == 0 {
		return nil
	}
	return &c.files[0]
}

// patient gives a body as long as it keeps coming.
type patient struct {
	r    io.Reader
	to   *http.ResponseController
	last time.Time
}

func (p *patient) Read(b []byte) (int, error) {
	if now := time.Now(); now.Sub(p.last) > time.Second {
		p.last = now
		// A listener without deadlines, as in some tests, has none to move.
		_ = p.to.SetReadDeadline(now.Add(stalled))
		_ = p.to.SetWriteDeadline(now.Add(stalled + answerTime))
	}
	return p.r.Read(b)
}

// answerTime is how long the reply to a large file may take: it is read and
// analysed before anything is said.
const answerTime = 5 * time.Minute

// done lets the reply take its time.
func (p *patient) done() error {
	_ = p.to.SetReadDeadline(time.Time{})
	_ = p.to.SetWriteDeadline(time.Now().Add(answerTime))
	return nil
}
