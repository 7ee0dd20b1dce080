package plot

// A Drawing is a page of lines and texts, in points from the top left.
type Drawing struct {
	Width, Height float64
	Title, Words  string // for those who cannot see it
	Lines         []Line
	Texts         []Text
}

// A Line is a polyline, or a closed shape.
type Line struct {
	Points []Point
	Width  float64
	Dash   []float64 // lengths of stroke and gap; none: unbroken
	Grey   float64   // 0 black to 1 white
	Closed bool
	Fill   bool // white inside
}

// A Text is one line of text; X, Y is its base line's beginning, middle or
// end.
type Text struct {
	X, Y, Size float64
	Anchor     Anchor
	Bold       bool
	Text       string
}

// Anchor says which part of a text X is.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

func (d *Drawing) line(width, grey float64, dash []float64, points ...Point) {
	d.Lines = append(d.Lines, Line{Points: points, Width: width, Grey: grey, Dash: dash})
}

func (d *Drawing) text(x, y, size float64, a Anchor, text string) {
	d.Texts = append(d.Texts, Text{X: x, Y: y, Size: size, Anchor: a, Text: text})
}
