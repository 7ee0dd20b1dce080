package vehicle_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/vehicle"
)

// Every derived value of three cars against draws from all the values that it
// rests on, in plain arithmetic: none lies outside its worst cases.
func TestNoDrawOutsideDerivedValues(t *testing.T) {
	demo, err := os.ReadFile("../../checklists/demo/vehicle.yaml")
	require.NoError(t, err)
	const draws = 400
	ranged := 0
	for name, car := range map[string]*vehicle.Vehicle{"demo": parse(t, string(demo)), "sandpiper": load(t, "sandpiper.yaml"), "old bess": load(t, "old_bess.yaml")} {
		random := rand.New(rand.NewPCG(5, 8))
		for _, d := range car.Derived() {
			if d.Absent != "" {
				continue
			}
			r, err := d.Formula.Eval()
			require.NoError(t, err, d.Name)
			if r.Lo != r.Hi {
				ranged++
			}
			slack := 1e-12 * math.Max(math.Abs(r.Lo), math.Abs(r.Hi))
			for range draws {
				at := map[string]float64{}
				for _, path := range d.Formula.Uses() {
					v, _, ok := car.Value(path)
					switch u := random.Float64(); {
					case !ok:
					case u < 0.15:
						at[path] = v.Lo
					case u > 0.85:
						at[path] = v.Hi
					default:
						at[path] = v.Lo + (v.Hi-v.Lo)*random.Float64()
					}
				}
				x, err := d.Formula.At(at)
				require.NoError(t, err, d.Name)
				if !assert.GreaterOrEqual(t, x, r.Lo-slack, "%s of %s", d.Name, name) || !assert.LessOrEqual(t, x, r.Hi+slack, "%s of %s", d.Name, name) {
					break
				}
			}
		}
	}
	assert.Greater(t, ranged, 150, "derived values with a range")
}
