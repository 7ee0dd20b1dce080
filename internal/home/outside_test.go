//go:build outside

package home

import (
	"crypto/ed25519"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// keygen runs ssh-keygen, without which the test fails.
func keygen(t *testing.T, arguments ...string) string {
	t.Helper()
	out, err := exec.Command("ssh-keygen", arguments...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}

// twoFields drops the comment of a public key line.
func twoFields(line string) []string { return strings.Fields(line)[:2] }

func TestKeygenReadsOurKeys(t *testing.T) {
	h := openTest(t)
	_, err := h.CreatePersonKey("r.mills", []byte("tightly torqued"))
	require.NoError(t, err)
	_, err = h.CreateLogKey(testOrigin)
	require.NoError(t, err)
	_, err = OpenPractice(filepath.Join(h.Dir(), "practice-keys"), &counting{next: 100}).CreatePersonKey("operator")
	require.NoError(t, err)

	person := filepath.Join(h.Dir(), "people-keys", "person-r.mills.key")
	assert.Equal(t, twoFields(read(t, person+".pub")), twoFields(keygen(t, "-y", "-P", "tightly torqued", "-f", person)))
	practice := filepath.Join(h.Dir(), "practice-keys", "person-operator.key")
	assert.Equal(t, twoFields(read(t, practice+".pub")), twoFields(keygen(t, "-y", "-P", "", "-f", practice)))
	log, err := h.logKeyFile(testOrigin)
	require.NoError(t, err)
	assert.Contains(t, keygen(t, "-y", "-P", "", "-f", log), "ssh-ed25519 ")
	assert.Contains(t, keygen(t, "-l", "-f", person+".pub"), "r.mills (ED25519)")

	out, err := exec.Command("ssh-keygen", "-y", "-P", "wrong", "-f", person).CombinedOutput()
	require.Error(t, err)
	assert.Contains(t, string(out), "incorrect passphrase")
}

func TestWeReadKeysOfKeygen(t *testing.T) {
	h := openTest(t)
	folder := filepath.Join(h.Dir(), "people-keys")
	require.NoError(t, makeFolder(folder))
	path := filepath.Join(folder, "person-r.mills.key")
	keygen(t, "-q", "-t", "ed25519", "-a", "20", "-N", "tightly torqued", "-C", "r.mills", "-f", path)
	key, err := h.PersonKey("r.mills", []byte("tightly torqued"))
	require.NoError(t, err)
	line, err := formatPublic(key.Public().(ed25519.PublicKey), "r.mills")
	require.NoError(t, err)
	assert.Equal(t, read(t, path+".pub"), string(line))

	keygen(t, "-q", "-p", "-P", "tightly torqued", "-N", "", "-f", path)
	_, err = h.PersonKey("r.mills", []byte("tightly torqued"))
	assert.ErrorContains(t, err, "is not encrypted")
}
