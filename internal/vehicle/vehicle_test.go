package vehicle_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// load reads one of the test cars, which must be without any problem.
func load(t testing.TB, file string) *vehicle.Vehicle {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "cars", file))
	require.NoError(t, err)
	return parse(t, string(b))
}

// parse reads a vehicle file that must be without any problem.
func parse(t testing.TB, text string) *vehicle.Vehicle {
	t.Helper()
	f, problems := yamlfile.Parse("vehicle.yaml", []byte(text))
	require.Empty(t, problems.String())
	v, problems := vehicle.Parse(f)
	require.Empty(t, problems.String())
	return v
}

func TestSmallestVehicle(t *testing.T) {
	v := parse(t, "format: 1\nname: Smallest\n")
	assert.Equal(t, "Smallest", v.Name())
	_, err := v.MaxVoltage()
	assert.EqualError(t, err, "system.max_voltage: packs.*.max_voltage is missing: vehicle.yaml has no packs")
	assert.Equal(t, []string{vehicle.Whole}, v.Parts())
	assert.False(t, v.IsSource(vehicle.Whole))
}
