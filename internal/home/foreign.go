package home

import (
	"crypto/ed25519"
	"errors"

	"golang.org/x/crypto/ssh"
)

// ReadKeyFile reads an OpenSSH Ed25519 key file that is not kept here, such
// as a scrutineer's own. ask is asked for the passphrase if there is one.
func ReadKeyFile(file []byte, ask func() ([]byte, error)) (ed25519.PrivateKey, error) {
	key, err := parsePlainKey(file)
	if !errors.Is(err, errEncrypted) {
		return key, err
	}
	passphrase, err := ask()
	if err != nil {
		return nil, err
	}
	defer clear(passphrase)
	return parseEncryptedKey(file, passphrase)
}

// ReadPublicKey reads one line as OpenSSH writes into .pub files.
func ReadPublicKey(line []byte) (ed25519.PublicKey, error) {
	public, _, _, rest, err := ssh.ParseAuthorizedKey(line)
	if err != nil || len(rest) > 0 {
		return nil, errors.New("is not one OpenSSH public key")
	}
	wire, ok := public.(ssh.CryptoPublicKey)
	if !ok {
		return nil, errNotEd25519
	}
	key, ok := wire.CryptoPublicKey().(ed25519.PublicKey)
	if !ok {
		return nil, errNotEd25519
	}
	return key, nil
}
