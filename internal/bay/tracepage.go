package bay

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"strconv"

	"hvproof/internal/quantity"
)

// A Trace is a recorded waveform, to be looked at closely.
type Trace interface {
	// Title says what it is of, in the words of the record.
	Title() string
	// Span gives the times that it covers, s, and its number of samples.
	Span() (from, to float64, samples int, err error)
	// Draw draws what lies between two times as SVG: of the samples that are
	// closer than can be seen, the least and the greatest. A narrow drawing is
	// for a phone.
	Draw(to io.Writer, from, till float64, narrow bool) error
}

// A view is the part of a waveform that is shown.
type view struct{ lo, hi, from, to float64 }

// viewOf reads the part that is asked for, or gives all of it. It lies within
// the waveform and is no shorter than three samples.
func viewOf(r *http.Request, lo, hi float64, samples int) view {
	v := view{lo, hi, lo, hi}
	from, err := strconv.ParseFloat(r.FormValue("from"), 64)
	to, err2 := strconv.ParseFloat(r.FormValue("to"), 64)
	if err != nil || err2 != nil || math.IsNaN(from) || math.IsNaN(to) || from >= to {
		return v
	}
	least := 3 * (hi - lo) / float64(max(samples, 4))
	return v.part((from+to)/2, math.Max(to-from, least))
}

// part is so much of the waveform about a time, moved to lie within it.
func (v view) part(middle, width float64) view {
	width = math.Min(width, v.hi-v.lo)
	v.from = math.Min(math.Max(middle-width/2, v.lo), v.hi-width)
	v.to = v.from + width
	return v
}

func (v view) query() string {
	text := func(x float64) string { return strconv.FormatFloat(x, 'g', 12, 64) }
	return "?" + url.Values{"from": {text(v.from)}, "to": {text(v.to)}}.Encode()
}

// whole reports whether all of it is shown.
func (v view) whole() bool { return v.to-v.from >= (v.hi-v.lo)*(1-1e-9) }

// A traceView is the page of one waveform.
type traceView struct {
	page
	Drawing    string // address
	Said       string
	From, To   string
	Samples    int
	Lo, Hi     float64 // of the waveform, and of what is shown
	Left, Till float64
	Keys       []traceKey
	Back       string
}

// A traceKey changes the view. One that would change nothing has no address.
type traceKey struct{ Name, Sign, Address string }

// trace draws the page of one waveform.
func (s *Server) trace(c *call) {
	t, v, samples, f := s.traced(c)
	if f != nil {
		c.failPage(f)
		return
	}
	release := c.hold()
	p := traceView{page: c.base("trace", s.words.say("title trace")), Said: t.Title(), Samples: samples, Lo: v.lo, Hi: v.hi, Left: v.from, Till: v.to}
	release()
	where := "/" + c.r.PathValue("run") + "/" + c.r.PathValue("entry")
	p.Drawing = "/waveform" + where + v.query()
	p.From, p.To = seconds(v.from), seconds(v.to)
	middle, width := (v.from+v.to)/2, v.to-v.from
	for _, k := range []struct {
		name, sign string
		to         view
	}{
		{"trace in", "+", v.part(middle, width/2)}, {"trace out", "−", v.part(middle, width*2)},
		{"trace earlier", "◀", v.part(middle-width/2, width)}, {"trace later", "▶", v.part(middle+width/2, width)},
		{"trace whole", "↔", v.part(middle, v.hi-v.lo)},
	} {
		key := traceKey{k.name, k.sign, "/trace" + where + k.to.query()}
		if k.to.query() == v.query() || k.name == "trace whole" && v.whole() || k.name == "trace in" && width <= 3.01*(v.hi-v.lo)/float64(max(samples, 4)) {
			key.Address = ""
		}
		p.Keys = append(p.Keys, key)
	}
	c.draw(http.StatusOK, "trace", p)
}

func seconds(t float64) string {
	return quantity.Format(quantity.Value{SI: t, Dim: quantity.Second}, 6, quantity.RoundNearest)
}

// traced finds the waveform that a page or a drawing is about.
func (s *Server) traced(c *call) (Trace, view, int, *fault) {
	index, err := strconv.ParseInt(c.r.PathValue("entry"), 10, 64)
	var t Trace
	if err == nil {
		release := c.hold()
		t, err = s.desk.car.Trace(c.r.PathValue("run"), index)
		release()
	}
	if err != nil {
		f := faultOf(err)
		f.status = http.StatusNotFound
		return nil, view{}, 0, f
	}
	lo, hi, samples, err := t.Span()
	if err == nil && !(lo < hi) {
		err = fmt.Errorf("the waveform has no samples")
	}
	if err != nil {
		return nil, view{}, 0, faultOf(err)
	}
	return t, viewOf(c.r, lo, hi, samples), samples, nil
}

// waveform draws a part of a recorded capture.
func (s *Server) waveform(c *call) {
	t, v, _, f := s.traced(c)
	if f != nil {
		c.failPage(f)
		return
	}
	var b bytes.Buffer
	if err := t.Draw(&b, v.from, v.to, c.r.FormValue("narrow") == "yes"); err != nil {
		c.failPage(faultOf(err))
		return
	}
	c.w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = c.w.Write(b.Bytes())
}
