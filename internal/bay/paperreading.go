package bay

import (
	"net/http"
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/form"
	"hvproof/internal/quantity"
)

// A paperPad is where a reading of a dialogue is typed: first the quantity is
// chosen, then digits and unit, and then it is read back before it is added
// to the readings of its field.
type paperPad struct {
	Readings   []string // of the field so far
	Quantities []string
	Quantity   string // "": it is chosen first
	Units      []string
	Point      string
	Sign       bool
	Typed      typed
	ReadBack   *readBack
}

// dimOf gives the dimension of a quantity that the pad can take.
func dimOf(name string) (d quantity.Dim, units []string, ok bool) {
	for _, p := range padUnits {
		if p.name == name {
			return p.dim, p.units, true
		}
	}
	return d, nil, false
}

// padAnswers takes what the page brought for a field of readings: the readings
// so far, and one more where it was read back. All of them are the answer when
// the person says that there are no more.
func (s *Server) padAnswers(c *call, x *form.Field, st *paperState) (texts []string, given bool) {
	v := c.r.PostForm
	kept, before := v["a."+x.Key]
	p := &paperPad{Readings: notEmpty(kept), Point: s.words.say("decimal"), Sign: true}
	for _, q := range padUnits {
		p.Quantities = append(p.Quantities, q.name)
	}
	st.pad = p
	if v.Get("asked") != x.Key {
		return p.Readings, before
	}
	p.Readings = notEmpty(v["answer"])
	if without := v.Get("without"); without != "" {
		p.Readings = slices.DeleteFunc(p.Readings, func(r string) bool { return r == without })
		return nil, false
	}
	dim, units, ok := dimOf(v.Get("quantity"))
	if !ok || v.Get("other") == "yes" {
		return p.Readings, v.Get("next") == "yes" || v.Get("none") == "yes"
	}
	p.Quantity, p.Units = v.Get("quantity"), units
	p.Typed = typed{Digits: v.Get("digits"), Unit: v.Get("unit"), Over: v.Get("over") == "yes", Text: strings.TrimSpace(v.Get("of"))}
	if v.Get("go") != "yes" {
		return nil, false
	}
	text, words, wrong := s.words.padReading(p.Typed.Digits, p.Typed.Unit, p.Typed.Over, dim)
	if wrong == "" && len(s.words.numbersIn(p.Typed.Text)) > 0 {
		wrong = "fault number in words"
	}
	if wrong != "" {
		st.fault = s.desk.fault(http.StatusUnprocessableEntity, wrong)
		return nil, false
	}
	if p.Typed.Text != "" {
		text += ", " + p.Typed.Text
	}
	hash := drawnHash(st.dialogue.address()+" "+x.Key, text, "", nil)
	if v.Get("read") == hash {
		p.Readings, p.Quantity = append(p.Readings, text), ""
		return nil, false
	}
	p.ReadBack = &readBack{Text: text, Words: words, Hash: hash}
	return nil, false
}

func notEmpty(texts []string) []string {
	return slices.DeleteFunc(slices.Clone(texts), func(t string) bool { return strings.TrimSpace(t) == "" })
}

// typedReading reports whether a text is a reading as the pad makes it.
func typedReading(text string) bool {
	head, _, _ := strings.Cut(text, ", ")
	digits, unit, _ := strings.Cut(head, " ")
	if digits == "OL" || digits == "-OL" {
		return unit == ""
	}
	if unit == "" {
		unit = plainUnit
	}
	return digitsShape.MatchString(digits) && slices.ContainsFunc(padUnits, func(p padKeys) bool { return slices.Contains(p.units, unit) })
}

// numberWithUnit finds numbers with a unit in a sentence.
var numberWithUnit = func() *regexp.Regexp {
	var units []string
	for _, p := range padUnits {
		for _, u := range p.units {
			if u != plainUnit {
				units = append(units, regexp.QuoteMeta(u))
			}
		}
	}
	slices.SortFunc(units, func(a, b string) int { return len(b) - len(a) }) // the longer of two that begin alike
	return regexp.MustCompile(`([<>]?[-−]?\d+(?:[.,]\d+)?)\s?(` + strings.Join(units, "|") + `)(?:[^\pL\d·]|$)`)
}()

// oneSpelling writes units as the keys of the pad do: ohm and micro have two
// characters each, and names that are typed where neither is on the keyboard.
var oneSpelling = strings.NewReplacer("\u2126", "Ω", "\u03bc", "µ", "ohm", "Ω", "Ohm", "Ω", "uF", "µF", "Nm", "N·m")

// numbersIn gives the numbers with units of a sentence in words, each after
// itself, so that m and M are heard apart.
func (w *Wording) numbersIn(text string) []string {
	var out []string
	for _, m := range numberWithUnit.FindAllStringSubmatch(oneSpelling.Replace(text)+"\n", -1) {
		digits := strings.NewReplacer("−", "-", ",", ".").Replace(m[1])
		out = append(out, m[1]+" "+m[2]+": "+w.spoken(digits, m[2]))
	}
	return out
}
