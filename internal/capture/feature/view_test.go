package feature

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/plot"
	"hvproof/internal/quantity"
)

// million is one channel of a million samples at 1 MHz: 100 V, with one sample
// at 700 V and one at −300 V, as a contact that bounces leaves them.
func million() (*capture.Waveform, *Analysis) {
	v := make([]float64, 1_000_000)
	for i := range v {
		v[i] = 100
	}
	v[123_456], v[777_777] = 700, -300
	w := &capture.Waveform{Channels: []capture.Channel{{Name: "CH1", Dim: quantity.Volt, Axis: &capture.Axis{Step: 1e-6, N: len(v)}, V: v}}}
	a := &Analysis{Kind: KindPrecharge, Roles: []Role{{Role: RoleLink}}}
	a.Picture.Shown = []string{RoleLink}
	a.Picture.Levels = []Level{{Y: 60, Text: "60 V"}, {Y: 650, Text: "650 V"}}
	a.Picture.Marks = []Mark{{T: 0.123456, Y: 700, Text: "bounce"}}
	return w, a
}

// TestChartWithin: in every view the one sample that matters is drawn, the
// view closer in shows it at its very time, and nothing is drawn outside.
func TestChartWithin(t *testing.T) {
	w, a := million()
	from, to, n := Span(w, a)
	assert.Equal(t, []float64{0, 0.999999}, []float64{from, to})
	assert.Equal(t, 1_000_000, n)
	for _, view := range []struct {
		from, to float64
		has      []float64
		levels   int
	}{
		{0, 0.999999, []float64{700, -300}, 2}, {0.1, 0.2, []float64{700}, 1}, {0.1234, 0.1235, []float64{700}, 1}, {0.7, 0.8, []float64{-300}, 1}, {0.3, 0.4, []float64{100}, 0},
		{0.1234555, 0.1234565, []float64{700}, 1},
	} {
		c := ChartWithin("x", w, a, view.from, view.to)
		require.Len(t, c.Panels, 1)
		points := c.Panels[0].Series[0].Points
		assert.LessOrEqual(t, len(points), drawn+2)
		for _, want := range view.has {
			assert.True(t, holds(points, want), "%v V in %v", want, view)
		}
		for _, p := range points {
			assert.True(t, view.from <= p.X && p.X <= view.to, "%v in %v", p, view)
		}
		assert.Len(t, c.Panels[0].Levels, view.levels, "%v", view)
		d := c.Draw(640, 420)
		for _, l := range d.Lines {
			for _, p := range l.Points {
				require.False(t, math.IsNaN(p.X) || math.IsNaN(p.Y))
			}
		}
	}
	between := pointsWithin(&w.Channels[0], 0.1234552, 0.1234557) // between two samples
	require.Len(t, between, 2)
	assert.InDelta(t, 100+600*0.2, between[0].Y, 1e-3)
	assert.InDelta(t, 100+600*0.7, between[1].Y, 1e-3)
}

func holds(points []plot.Point, y float64) bool {
	for _, p := range points {
		if p.Y == y {
			return true
		}
	}
	return false
}

// BenchmarkView draws one view of a million samples.
func BenchmarkView(b *testing.B) {
	w, a := million()
	for _, view := range [][2]float64{{0, 1}, {0.4, 0.5}, {0.4, 0.401}} {
		b.Run(time.Duration((view[1]-view[0])*1e9).String(), func(b *testing.B) {
			for b.Loop() {
				ChartWithin("x", w, a, view[0], view[1]).Draw(640, 420)
			}
		})
	}
}
