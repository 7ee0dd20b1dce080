package plot

import (
	"fmt"

	"hvproof/internal/quantity"
)

// A Chart is one or more panels over one time axis.
type Chart struct {
	Title  string
	Panels []Panel
	// From and To are the part of the time axis that is shown, s; the span of
	// the curves where they are equal.
	From, To float64
}

// A Panel shows curves of one dimension.
type Panel struct {
	Dim    quantity.Dim
	Series []Series
	Levels []Level
	Marks  []Mark
}

// A Series is one curve. A point with Y = NaN is a gap.
type Series struct {
	Name   string
	Style  Style
	Points []Point
}

// A Point is a time in s and a value in SI units.
type Point struct{ X, Y float64 }

// Style tells curves apart without colour.
type Style int

// The styles.
const (
	Solid  Style = iota // what was measured: wide, so that a fit shows on it
	Grey                // another measured curve
	Thin                // a third
	Dashed              // a fit
	Dotted              // a second fit
)

// A Level is a horizontal line: a limit or an expected level.
type Level struct {
	Y    float64
	Text string
}

// A Mark is a numbered point; its text stands below the panel.
type Mark struct {
	X, Y float64
	Text string
}

// said is a mark with its number and time.
func (m Mark) said(number int) string {
	return fmt.Sprintf("%d  %s, %s", number, m.Text, seconds(m.X))
}
