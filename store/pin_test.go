package store

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// SQLite here is C translated to Go, and modernc.org/libc is the C library that
// it was translated against: modernc.org/sqlite works with exactly the version
// that its own go.mod names (its documentation says so).
func TestLibcIsTheOneThatSQLiteWasBuiltFor(t *testing.T) {
	list := func(format, module string) string {
		out, err := exec.Command("go", "list", "-m", "-f", format, module).Output()
		require.NoError(t, err)
		return strings.TrimSpace(string(out))
	}
	file, err := os.ReadFile(list("{{.GoMod}}", "modernc.org/sqlite"))
	require.NoError(t, err)
	pin := regexp.MustCompile(`(?m)^\s*modernc\.org/libc (\S+)`).FindSubmatch(file)
	require.NotNil(t, pin, "modernc.org/sqlite's go.mod names no libc")
	assert.Equal(t, string(pin[1]), list("{{.Version}}", "modernc.org/libc"))
}
