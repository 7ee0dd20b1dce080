package capture

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write what was read into testdata, to be looked over")

// given are the options of files that need some.
var given = map[string]Options{
	"raw_counts_scale.csv": {Scales: map[string]float64{"column 1": 0.2}, Offsets: map[string]float64{"column 1": 128}, Units: map[string]string{"column 1": "V"}},
	"segments_2.csv":       {Recording: 2},
}

// summary prints a waveform for comparison by eye.
func summary(w *Waveform) string {
	var b strings.Builder
	fmt.Fprint(&b, w.Detected.String())
	for _, ch := range w.Channels {
		fmt.Fprintf(&b, "channel %q [%s] %s, digit %g: %d samples", ch.Name, ch.Unit, ch.Dim, ch.Digit, len(ch.V))
		if ch.Axis.Regular() {
			fmt.Fprintf(&b, ", regular from %v by %v\n", ch.Axis.Start, ch.Axis.Step)
		} else {
			fmt.Fprintf(&b, ", times %v\n", ch.Axis.Times)
		}
		fmt.Fprintf(&b, "  %v\n", ch.V)
		if ch.Half != nil {
			fmt.Fprintf(&b, "  half width %v\n", ch.Half)
		}
		for _, s := range ch.Clipped {
			fmt.Fprintf(&b, "  clipped %d:%d %s %v %q\n", s.From, s.To, s.Side, s.Limit, s.Text)
		}
		for _, s := range ch.Missing {
			fmt.Fprintf(&b, "  missing %d:%d %q\n", s.From, s.To, s.Text)
		}
	}
	for _, n := range w.Notes {
		fmt.Fprintf(&b, "note %s, line %d: %s\n", n.Code, n.Line, n.Sentence)
	}
	for _, s := range w.Skipped {
		fmt.Fprintf(&b, "skipped %d %q: %s\n", s.Line, s.Text, s.Why)
	}
	return b.String()
}

// files lists the examples of a folder.
func files(t *testing.T, folder string, least int) []string {
	t.Helper()
	all, err := filepath.Glob("testdata/" + folder + "/*")
	require.NoError(t, err)
	var out []string
	for _, name := range all {
		if !strings.HasSuffix(name, ".want") {
			out = append(out, name)
		}
	}
	require.GreaterOrEqual(t, len(out), least)
	return out
}

// golden holds got against the file beside the example.
func golden(t *testing.T, name, got string) {
	t.Helper()
	if *update {
		require.NoError(t, os.WriteFile(name+".want", []byte(got), 0o644))
	}
	want, err := os.ReadFile(name + ".want")
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// Every shape of file, as found in the field; all data invented.
func TestShapes(t *testing.T) {
	for _, name := range files(t, "good", 40) {
		t.Run(filepath.Base(name), func(t *testing.T) {
			b, err := os.ReadFile(name)
			require.NoError(t, err)
			opt := given[filepath.Base(name)]
			opt.Name = filepath.Base(name)
			w, err := Read(bytes.NewReader(b), opt)
			if err != nil {
				require.NoError(t, err, diag.HintOf(err))
			}
			golden(t, name, summary(w))
			whole(t, w)
			for _, workers := range []int{1, 3} { // nothing depends on the number
				opt.Workers = workers
				again, err := Read(iotestOneByte{bytes.NewReader(b)}, opt)
				require.NoError(t, err)
				assert.Equal(t, summary(w), summary(again))
				assert.Equal(t, w.SHA256, again.SHA256)
			}
		})
	}
}

// iotestOneByte reads byte by byte and knows no length.
type iotestOneByte struct{ r *bytes.Reader }

func (o iotestOneByte) Read(p []byte) (int, error) { return o.r.Read(p[:min(1, len(p))]) }

// whole checks what holds of every waveform.
func whole(t testing.TB, w *Waveform) {
	t.Helper()
	require.NotEmpty(t, w.Channels)
	for _, ch := range w.Channels {
		require.NotEmpty(t, ch.Name)
		require.Equal(t, len(ch.V), ch.Axis.N, ch.Name)
		require.True(t, ch.Half == nil || len(ch.Half) == len(ch.V))
		require.True(t, ch.Axis.Times == nil || len(ch.Axis.Times) == ch.Axis.N)
		for i := 1; i < ch.Axis.N; i++ {
			require.GreaterOrEqual(t, ch.Axis.At(i), ch.Axis.At(i-1))
		}
		marked := map[int]bool{}
		for _, spans := range [][]Span{ch.Clipped, ch.Missing} {
			last := 0
			for _, s := range spans {
				require.LessOrEqual(t, last, s.From)
				require.Less(t, s.From, s.To)
				require.LessOrEqual(t, s.To, len(ch.V))
				last = s.To
				for i := s.From; i < s.To; i++ {
					marked[i] = true
				}
			}
		}
		for i, v := range ch.V {
			require.False(t, math.IsInf(v, 0), "%s[%d]", ch.Name, i)
			require.Equal(t, marked[i], math.IsNaN(v), "%s[%d] = %v: marked as no number %v", ch.Name, i, v, marked[i])
		}
	}
}

// Every file that must be refused, or asked about.
func TestRefused(t *testing.T) {
	for _, name := range files(t, "bad", 20) {
		t.Run(filepath.Base(name), func(t *testing.T) {
			b, err := os.ReadFile(name)
			require.NoError(t, err)
			_, err = Read(bytes.NewReader(b), Options{Name: filepath.Base(name)})
			require.Error(t, err)
			var e *diag.Error
			require.True(t, errors.As(err, &e), "%T", err)
			assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
			golden(t, name, err.Error()+"\nhint: "+diag.HintOf(err)+"\n")
		})
	}
}
