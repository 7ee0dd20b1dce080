package ledger

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/people"
)

// signatureBytes is what a signature line holds: key hash and signature.
const signatureBytes = 4 + ed25519.SignatureSize

// A Note is a signed note with exactly one signature, taken apart but not
// verified.
type Note struct {
	Text      []byte // what is signed; ends in a line feed
	Signer    string // the name of the key: a person's id, or a log's origin
	KeyHash   uint32
	Signature [ed25519.SignatureSize]byte
}

// NewSigner makes a signer whose name is a person's id or a log's origin.
func NewSigner(name string, key ed25519.PrivateKey) (note.Signer, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("a private key of %d bytes is not an Ed25519 key: 64 are needed", len(key))
	}
	public := key.Public().(ed25519.PublicKey)
	typed := append([]byte{1}, key.Seed()...)
	return note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, people.KeyHash(name, public),
		base64.StdEncoding.EncodeToString(typed)))
}

// OpenNote takes a note apart. It accepts only what [note.Sign] would have
// printed with one Ed25519 signature: note.Open alone also takes a last
// base64 character with other unused bits, and any number of signatures.
func OpenNote(raw []byte) (Note, error) {
	split := bytes.LastIndex(raw, []byte("\n\n"))
	if split < 0 {
		return Note{}, errors.New("not a signed note: no blank line before the signature")
	}
	text, line := raw[:split+1], raw[split+2:]
	if !utf8.Valid(raw) {
		return Note{}, errors.New("not a signed note: not valid UTF-8")
	}
	for _, c := range text {
		if c < 0x20 && c != '\n' {
			return Note{}, fmt.Errorf("not a signed note: control character %#x", c)
		}
	}
	body, ok := bytes.CutSuffix(line, []byte("\n"))
	if !ok || bytes.IndexByte(body, '\n') >= 0 {
		return Note{}, errors.New("not a note with exactly one signature line")
	}
	body, ok = bytes.CutPrefix(body, []byte("— "))
	name, encoded, found := bytes.Cut(body, []byte(" "))
	if !ok || !found || !isKeyName(string(name)) {
		return Note{}, errors.New("not a signature line: — NAME BASE64")
	}
	var sig [signatureBytes + 3]byte // room for what Decode may write
	if len(encoded) != base64.StdEncoding.EncodedLen(signatureBytes) {
		return Note{}, errors.New("not an Ed25519 signature: base64 of 68 bytes")
	}
	n, err := base64.StdEncoding.Decode(sig[:], encoded)
	if err != nil || n != signatureBytes || base64.StdEncoding.EncodeToString(sig[:n]) != string(encoded) {
		return Note{}, errors.New("not an Ed25519 signature: base64 of 68 bytes")
	}
	return Note{
		Text: text, Signer: string(name),
		KeyHash:   binary.BigEndian.Uint32(sig[:4]),
		Signature: [ed25519.SignatureSize]byte(sig[4:signatureBytes]),
	}, nil
}

// isKeyName accepts persons' ids and origins: printable ASCII without spaces
// and pluses, which is narrower than C2SP signed-note.
func isKeyName(name string) bool {
	return name != "" && strings.IndexFunc(name, func(r rune) bool { return r <= ' ' || r >= 0x7F || r == '+' }) < 0
}

// Verify reports whether the note carries a good signature of the key.
func (n Note) Verify(key ed25519.PublicKey) bool {
	return len(key) == ed25519.PublicKeySize && people.KeyHash(n.Signer, key) == n.KeyHash && n.verify(key)
}

func (n Note) verify(key ed25519.PublicKey) bool { return ed25519.Verify(key, n.Text, n.Signature[:]) }

// Leaf is the RFC 6962 leaf hash of a whole note.
func Leaf(raw []byte) tlog.Hash { return tlog.RecordHash(raw) }
