package bay

import (
	"bytes"
	"encoding/hex"
	"net/http"
	"slices"

	"hvproof/internal/entry"
)

// note records a remark or a file.
func (s *Server) note(c *call) {
	c.hold()
	text := c.r.PostFormValue("text")
	if file := c.file(); text == "" && file != nil {
		text = s.words.say("note file", "name", file.name)
	}
	if f := s.desk.note(text, c.file()); f != nil {
		s.runAgain(c, f, typed{})
		return
	}
	s.desk.mu.Unlock()
	s.changes.happened()
	c.see("/run/steps")
}

// file sends a file that a note of some run, work on HV, or a closed item names: pictures to be looked at,
// everything else to be kept.
func (s *Server) file(c *call) {
	release := c.hold()
	digest, b, f := s.fileOf(c.r.PathValue("digest"))
	release()
	if f != nil {
		c.failPage(f)
		return
	}
	kind := http.DetectContentType(b)
	h := c.w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="`+hex.EncodeToString(digest[:8])+`"`)
	if kind == "image/jpeg" || kind == "image/png" || kind == "image/webp" || kind == "image/gif" {
		h.Set("Content-Type", kind)
		h.Set("Content-Disposition", "inline")
	}
	http.ServeContent(c.w, c.r, "", c.s.opt.Now(), bytes.NewReader(b))
}

func (s *Server) fileOf(name string) (digest [32]byte, b []byte, f *fault) {
	raw, err := hex.DecodeString(name)
	if err != nil || len(raw) != 32 {
		return digest, nil, s.desk.fault(http.StatusNotFound, "fault no page")
	}
	digest = [32]byte(raw)
	for _, m := range s.desk.car.History().Runs() {
		for _, e := range m.Events() {
			if e.Body.Kind == entry.Note && e.Body.Text("file") == name {
				if b, err = s.desk.car.Blob(digest); err != nil {
					return digest, nil, faultOf(err)
				}
				return digest, b, nil
			}
		}
	}
	for _, w := range s.desk.car.Works() {
		if slices.Contains(w.Photos, name) {
			if b, err = s.desk.car.Blob(digest); err != nil {
				return digest, nil, faultOf(err)
			}
			return digest, b, nil
		}
	}
	for _, x := range s.desk.car.Closings() {
		if slices.ContainsFunc(x.Files, func(f ClosingFile) bool { return f.Digest == name }) {
			if b, err = s.desk.car.Blob(digest); err != nil {
				return digest, nil, faultOf(err)
			}
			return digest, b, nil
		}
	}
	return digest, nil, s.desk.fault(http.StatusNotFound, "fault no page")
}
