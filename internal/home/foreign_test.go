package home

import (
	"crypto/ed25519"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReadKeyFile(t *testing.T) {
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	never := func() ([]byte, error) { return nil, errors.New("asked") }
	plain, err := formatKey(key, "scrutineer", nil)
	require.NoError(t, err)
	got, err := ReadKeyFile(plain, never)
	require.NoError(t, err)
	assert.Equal(t, key, got)
	locked, err := formatKey(key, "scrutineer", []byte("correct horse"))
	require.NoError(t, err)
	got, err = ReadKeyFile(locked, func() ([]byte, error) { return []byte("correct horse"), nil })
	require.NoError(t, err)
	assert.Equal(t, key, got)
	_, err = ReadKeyFile(locked, func() ([]byte, error) { return []byte("wrong"), nil })
	assert.ErrorIs(t, err, ErrPassphrase)
	_, err = ReadKeyFile(locked, never)
	assert.ErrorContains(t, err, "asked")
	line, err := formatPublic(key.Public().(ed25519.PublicKey), "scrutineer")
	require.NoError(t, err)
	public, err := ReadPublicKey(line)
	require.NoError(t, err)
	assert.Equal(t, key.Public(), public)
	_, err = ReadPublicKey([]byte("ssh-ed25519 AAAA"))
	assert.Error(t, err)
	_, err = ReadKeyFile([]byte("no key"), never)
	assert.ErrorIs(t, err, errNoKeyFile)
}
