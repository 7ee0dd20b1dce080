package feature_test

import (
	"encoding/binary"
	"math"
	"testing"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/quantity"
)

// Whatever the samples are, no analysis panics or hangs, and no feature,
// mark or level is anything but a number.
func FuzzAnalyse(f *testing.F) {
	whole := func(n int, at func(i int) float64) []byte {
		var out []byte
		for i := range n {
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(at(i)))
		}
		return out
	}
	for kind := range feature.Kinds() {
		k := uint8(kind)
		f.Add(k, 1e-3, false, whole(400, func(i int) float64 { return 400 * -math.Expm1(-float64(max(0, i-40))/60) }))
		f.Add(k, 1e-3, true, whole(300, func(i int) float64 { return 400 * math.Exp(-float64(max(0, i-40))/60) }))
		f.Add(k, 1e-9, false, whole(64, func(i int) float64 {
			return []float64{0, math.NaN(), math.Inf(1), -math.Inf(1), 1e308, -1e308, 5e-324}[i%7]
		}))
		f.Add(k, 1e300, false, whole(50, func(int) float64 { return 1e300 }))
		f.Add(k, 0.1, true, whole(3, func(i int) float64 { return float64(i) }))
		f.Add(k, 0.1, false, []byte{})
	}
	f.Fuzz(func(t *testing.T, kind uint8, step float64, uneven bool, data []byte) {
		n := min(len(data)/8, 4000)
		if !(step > 0) || math.IsInf(step*float64(n+1), 0) {
			return // the reader gives no such axis
		}
		v := make([]float64, n)
		back := make([]float64, n)
		axis := &capture.Axis{Step: step, N: n}
		for i := range v {
			v[i] = math.Float64frombits(binary.LittleEndian.Uint64(data[8*i:]))
			if math.IsInf(v[i], 0) {
				v[i] = math.NaN() // as the reader gives what is beyond a float64
			}
			back[n-1-i] = v[i]
			if uneven {
				axis.Times = append(axis.Times, float64(i/3)*step)
			}
		}
		name := feature.Kinds()[int(kind)%len(feature.Kinds())]
		columns, dim := []string{"dc_link", "pack"}, quantity.Volt
		switch name {
		case feature.KindEmergencyOff:
			columns = []string{"trip", "dc_link"}
		case feature.KindSharing, feature.KindCoil:
			columns, dim = []string{"left", "right"}, quantity.Ampere
		}
		a, err := feature.Analyse(waveform(axis, columns, dim, v, back), feature.Request{Kind: name, Car: sandpiper()})
		if err != nil {
			return
		}
		number := func(what string, x float64) {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%s is %g", what, x)
			}
		}
		for _, x := range a.Features {
			number(x.Name, x.Value)
			number("U of "+x.Name, x.U)
		}
		for _, m := range a.Picture.Marks {
			number("time of the mark "+m.Text, m.T)
		}
		for _, l := range a.Picture.Levels {
			number("level "+l.Text, l.Y)
		}
		if len(a.Features)+len(a.Findings) > 100 {
			t.Fatalf("%d features, %d findings", len(a.Features), len(a.Findings))
		}
	})
}
