package home

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"

	"golang.org/x/crypto/ssh"
)

var (
	// ErrNoKey says that a key file is not there.
	ErrNoKey = errors.New("no key file")
	// ErrPassphrase says that a passphrase does not open the key.
	ErrPassphrase = errors.New("wrong passphrase")
	// ErrKeyExists says that a key would have to be replaced, which is never done.
	ErrKeyExists = errors.New("the key exists already")

	errEncrypted    = errors.New("is encrypted with a passphrase, a key without one is wanted")
	errNotEncrypted = errors.New("is not encrypted, a person's key has a passphrase")
	errNoKeyFile    = errors.New("is not an OpenSSH private key file")
	errNotEd25519   = errors.New("is not an Ed25519 key")
	errMismatch     = errors.New("the two halves of the key do not belong together")
)

// pemType is the label of an OpenSSH private key file.
const pemType = "OPENSSH PRIVATE KEY"

// generate makes a key from 32 bytes of random. ed25519.GenerateKey is not used
// because it need not take the bytes that it is given.
func generate(random io.Reader) (ed25519.PrivateKey, error) {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return nil, machine(err, "reading random bytes")
	}
	return ed25519.NewKeyFromSeed(seed), nil
}

// formatKey returns an OpenSSH private key file, encrypted (aes256-ctr, bcrypt)
// if passphrase is not empty. Salt and check bytes come from the system's
// random source, so two files of one key differ.
func formatKey(key ed25519.PrivateKey, comment string, passphrase []byte) ([]byte, error) {
	var block *pem.Block
	var err error
	if len(passphrase) > 0 {
		block, err = ssh.MarshalPrivateKeyWithPassphrase(key, comment, passphrase)
	} else {
		block, err = ssh.MarshalPrivateKey(key, comment)
	}
	if err != nil {
		return nil, fmt.Errorf("writing the key: %w", err)
	}
	return pem.EncodeToMemory(block), nil
}

// parsePlainKey reads a key file that has no passphrase.
func parsePlainKey(file []byte) (ed25519.PrivateKey, error) {
	if err := checkContainer(file); err != nil {
		return nil, err
	}
	raw, err := ssh.ParseRawPrivateKey(file)
	if missing := (*ssh.PassphraseMissingError)(nil); errors.As(err, &missing) {
		return nil, errEncrypted
	}
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", errNoKeyFile, err)
	}
	return checkedKey(raw)
}

// parseEncryptedKey reads a key file with its passphrase. The work factor is
// bounded by the ssh package.
func parseEncryptedKey(file, passphrase []byte) (ed25519.PrivateKey, error) {
	public, err := parsePublicHalf(file)
	if err != nil {
		return nil, err
	}
	if len(passphrase) == 0 {
		return nil, ErrPassphrase // the ssh package would speak of its key derivation
	}
	raw, err := ssh.ParseRawPrivateKeyWithPassphrase(file, passphrase)
	if errors.Is(err, x509.IncorrectPasswordError) {
		return nil, ErrPassphrase
	}
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", errNoKeyFile, err)
	}
	key, err := checkedKey(raw)
	if err != nil {
		return nil, err
	}
	if !public.Equal(key.Public()) {
		return nil, errMismatch
	}
	return key, nil
}

// parsePublicHalf reads the public key of an encrypted key file, for which no
// passphrase is needed.
func parsePublicHalf(file []byte) (ed25519.PublicKey, error) {
	if err := checkContainer(file); err != nil {
		return nil, err
	}
	_, err := ssh.ParseRawPrivateKey(file)
	if err == nil {
		return nil, errNotEncrypted
	}
	missing := (*ssh.PassphraseMissingError)(nil)
	if !errors.As(err, &missing) || missing.PublicKey == nil {
		return nil, fmt.Errorf("%w (%v)", errNoKeyFile, err)
	}
	crypto, ok := missing.PublicKey.(ssh.CryptoPublicKey)
	if !ok {
		return nil, errNotEd25519
	}
	public, ok := crypto.CryptoPublicKey().(ed25519.PublicKey)
	if !ok {
		return nil, errNotEd25519
	}
	return public, nil
}

// checkContainer refuses everything but exactly one OpenSSH private key.
func checkContainer(file []byte) error {
	block, rest := pem.Decode(file)
	if block == nil || block.Type != pemType || len(bytes.TrimSpace(rest)) > 0 {
		return errNoKeyFile
	}
	return nil
}

// checkedKey returns an Ed25519 key whose public half follows from its secret
// half. The file could say otherwise, and signing with two halves that do not
// belong together gives the secret away.
func checkedKey(raw any) (ed25519.PrivateKey, error) {
	key, ok := raw.(*ed25519.PrivateKey)
	if !ok || len(*key) != ed25519.PrivateKeySize {
		return nil, errNotEd25519
	}
	if !ed25519.NewKeyFromSeed(key.Seed()).Equal(*key) {
		return nil, errMismatch
	}
	return *key, nil
}

// formatPublic returns the one line of a .pub file.
func formatPublic(public ed25519.PublicKey, comment string) ([]byte, error) {
	wire, err := ssh.NewPublicKey(public)
	if err != nil {
		return nil, fmt.Errorf("writing the public key: %w", err)
	}
	line := bytes.TrimSuffix(ssh.MarshalAuthorizedKey(wire), []byte("\n"))
	return append(line, " "+comment+"\n"...), nil
}
