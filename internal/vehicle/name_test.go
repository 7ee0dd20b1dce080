package vehicle

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/yamlfile"
)

// A name that would fill a page is refused, and its message is short.
func TestNamesHaveAnEnd(t *testing.T) {
	name := strings.Repeat("x", 100_000)
	file, faults := yamlfile.Parse("vehicle.yaml", []byte("format: 1\nname: Wren\npacks:\n  "+name+":\n    capacity: 42 Ah\n"))
	assert.Empty(t, faults)
	_, faults = Parse(file)
	assert.True(t, faults.Errors())
	for _, p := range faults {
		assert.Less(t, len(p.Message)+len(p.Hint)+len(p.Excerpt()), 2000)
	}
}
