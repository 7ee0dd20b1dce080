package carfolder

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A section that the car's file forgets is not a part that the car does not
// have: without it emergency-off, bonding and the rest would not be asked for.
func TestAForgottenSectionIsMissing(t *testing.T) {
	shipped := shippedProofs()
	for proof := range essential {
		assert.Contains(t, shipped, proof)
	}
	dir := filepath.Join(t.TempDir(), "car")
	require.NoError(t, InitDemo(dir))
	car := filepath.Join(dir, VehicleFile)
	whole, err := os.ReadFile(car)
	require.NoError(t, err)
	for section, proof := range map[string]string{"shutdown": "emergency_off", "bonding": "bonding", "isolation": "isolation_parts", "pyro": ""} {
		text := regexp.MustCompile(`(?m)^`+section+`:.*\n(?:[ #].*\n|\n)*`).ReplaceAll(whole, nil)
		require.NotEqual(t, whole, text, section)
		require.NoError(t, os.WriteFile(car, text, 0o644))
		f, _ := Load(dir)
		found := false
		for _, r := range f.Requirements(true) {
			switch {
			case r.Proof == proof:
				found = true
				assert.Nil(t, r.Today, section)
				assert.NotEmpty(t, r.Fault, section)
				assert.True(t, r.Required)
			case section == "pyro" && r.Proof == "pyro_circuit":
				found = true
				require.NotNil(t, r.Today, r.Fault)
				assert.NotEmpty(t, r.Today.NotApplicable, "a car may have no pyro")
			}
		}
		assert.True(t, found, section)
	}
}
