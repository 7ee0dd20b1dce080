//go:build outside

package ledger_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/people"
)

// TestOpenSSL runs the three commands that the specification documents, as
// they stand there, on one entry, and on the same entry with a byte altered.
func TestOpenSSL(t *testing.T) {
	_, after, found := strings.Cut(entry.Specification(), "CHECKING A SIGNATURE WITH OPENSSL")
	require.True(t, found)
	var commands []string
	for line := range strings.SplitSeq(after, "\n") {
		if command, ok := strings.CutPrefix(line, "    "); ok && len(commands) < 3 {
			commands = append(commands, command)
		}
	}
	require.Len(t, commands, 3)
	require.Contains(t, commands[2], "openssl pkeyutl -verify")

	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	for _, command := range commands {
		assert.Contains(t, string(doc), "//	"+command+"\n", "the package comment has the same")
	}

	raw := records(sample(t)).Notes[7]
	run := func(raw []byte) (string, error) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "entry.note"), raw, 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "key.pem"), []byte(people.PEM(publicKey(ledgertest.Okoro))), 0o600))
		cmd := exec.Command("sh", "-e", "-c", strings.Join(commands, "\n"))
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := run(raw)
	require.NoError(t, err, out)
	assert.Contains(t, out, "Signature Verified Successfully")
	out, err = run(replace(t, raw, "value: 201600", "value: 301600"))
	require.Error(t, err)
	assert.NotContains(t, out, "Successfully")
}

// TestSSHKeygen lets ssh-keygen read a public key as it is exported.
func TestSSHKeygen(t *testing.T) {
	file := filepath.Join(t.TempDir(), "key.pub")
	require.NoError(t, os.WriteFile(file, []byte(people.SSH(publicKey(ledgertest.Okoro), ledgertest.Okoro)), 0o600))
	out, err := exec.Command("ssh-keygen", "-l", "-f", file).CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), ledgertest.Okoro)
	assert.Contains(t, string(out), "ED25519")
}
