package bundle

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// algCosignature is the signature type byte of C2SP cosignatures for Ed25519
// (tlog-cosignature, cosignature/v1).
const algCosignature = 4

// maxCosignatures is how many people may countersign one checkpoint.
const maxCosignatures = 16

// A Cosigner is somebody outside the team who signs checkpoints with a key of
// their own: a scrutineer.
type Cosigner struct {
	Name string
	Key  ed25519.PublicKey
}

// VKey prints a cosigner's key as C2SP does: name, key hash, base64 of the
// type byte and the key.
func (c Cosigner) VKey() string {
	typed := append([]byte{algCosignature}, c.Key...)
	return fmt.Sprintf("%s+%08x+%s", c.Name, c.hash(), base64.StdEncoding.EncodeToString(typed))
}

func (c Cosigner) hash() uint32 {
	h := sha256.New()
	h.Write([]byte(c.Name + "\n"))
	h.Write([]byte{algCosignature})
	h.Write(c.Key)
	return binary.BigEndian.Uint32(h.Sum(nil))
}

// ParseCosigner reads what VKey prints and nothing else.
func ParseCosigner(text string) (Cosigner, error) {
	parts := strings.SplitN(text, "+", 3)
	bad := fmt.Errorf("%.120q is not a cosigner's key: name+hash+base64", text)
	if len(parts) != 3 {
		return Cosigner{}, bad
	}
	raw, err := base64.StdEncoding.DecodeString(parts[2])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize || raw[0] != algCosignature {
		return Cosigner{}, bad
	}
	c := Cosigner{parts[0], raw[1:]}
	if !isCosigner(c.Name) || c.VKey() != text {
		return Cosigner{}, bad
	}
	return c, people.CheckKey(c.Key)
}

// isCosigner accepts names of 1 to 100 printable ASCII characters without
// spaces and pluses.
func isCosigner(name string) bool {
	return name != "" && len(name) <= 100 && strings.IndexFunc(name, func(r rune) bool { return r <= ' ' || r >= 0x7F || r == '+' }) < 0
}

// A Cosignature is a line below a checkpoint by somebody outside.
type Cosignature struct {
	Name      string
	KeyHash   uint32
	Time      time.Time // by the cosigner's clock
	Signature [ed25519.SignatureSize]byte
}

// cosigned is what a cosignature signs.
func cosigned(text []byte, at time.Time) []byte {
	return append(fmt.Appendf(nil, "cosignature/v1\ntime %d\n", at.Unix()), text...)
}

// line prints the cosignature.
func (c Cosignature) line() string {
	raw := binary.BigEndian.AppendUint32(nil, c.KeyHash)
	raw = binary.BigEndian.AppendUint64(raw, uint64(c.Time.Unix()))
	raw = append(raw, c.Signature[:]...)
	return "— " + c.Name + " " + base64.StdEncoding.EncodeToString(raw) + "\n"
}

// By reports whether the cosignature of a checkpoint is that of the cosigner.
func (c Cosignature) By(who Cosigner, checkpoint []byte) bool {
	own, _, err := SplitCheckpoint(checkpoint)
	if err != nil || c.Name != who.Name || c.KeyHash != who.hash() {
		return false
	}
	text, _, _ := bytes.Cut(own, []byte("\n\n"))
	return ed25519.Verify(who.Key, cosigned(append(bytes.Clone(text), '\n'), c.Time), c.Signature[:])
}

// SplitCheckpoint takes a checkpoint with any number of cosignatures apart
// into the checkpoint as the log signed it and the cosignatures. It accepts
// only what Cosign prints; of signatures it verifies none.
func SplitCheckpoint(raw []byte) (own []byte, cosignatures []Cosignature, err error) {
	text, lines, found := bytes.Cut(raw, []byte("\n\n"))
	first, rest, ended := bytes.Cut(lines, []byte("\n"))
	if !found || !ended || len(raw) > maxHead {
		return nil, nil, errors.New("not a checkpoint: three lines, a blank one, and the log's signature")
	}
	own = raw[: len(text)+2+len(first)+1 : len(text)+2+len(first)+1]
	if _, err := ledger.ParseCheckpoint(own); err != nil {
		return nil, nil, err
	}
	for len(rest) > 0 {
		var line []byte
		line, rest, ended = bytes.Cut(rest, []byte("\n"))
		c, ok := parseCosignature(string(line))
		if !ended || !ok || len(cosignatures) == maxCosignatures {
			return nil, nil, fmt.Errorf("%.120q is not a cosignature of a checkpoint", line)
		}
		cosignatures = append(cosignatures, c)
	}
	return own, cosignatures, nil
}

func parseCosignature(line string) (c Cosignature, ok bool) {
	name, encoded, _ := strings.Cut(strings.TrimPrefix(line, "— "), " ")
	raw, err := base64.StdEncoding.DecodeString(encoded)
	if err != nil || len(raw) != 4+8+ed25519.SignatureSize || !isCosigner(name) {
		return c, false
	}
	seconds := binary.BigEndian.Uint64(raw[4:])
	if seconds > 253402300799 { // 9999-12-31
		return c, false
	}
	c = Cosignature{name, binary.BigEndian.Uint32(raw), time.Unix(int64(seconds), 0).UTC(), [ed25519.SignatureSize]byte(raw[12:])}
	return c, c.line() == line+"\n"
}

// Cosign adds a cosignature to a checkpoint, which may have others already.
func Cosign(checkpoint []byte, name string, key ed25519.PrivateKey, at time.Time) ([]byte, Cosigner, error) {
	who := Cosigner{name, key.Public().(ed25519.PublicKey)}
	if !isCosigner(name) {
		return nil, who, fmt.Errorf("%.120q is no name for a cosigner: printable ASCII without spaces and pluses", name)
	}
	own, others, err := SplitCheckpoint(checkpoint)
	if err != nil {
		return nil, who, err
	}
	for _, o := range others {
		if o.Name == who.Name && o.KeyHash == who.hash() {
			return nil, who, fmt.Errorf("%s has countersigned this checkpoint already", name)
		}
	}
	if len(others) == maxCosignatures {
		return nil, who, fmt.Errorf("the checkpoint has %d cosignatures already", maxCosignatures)
	}
	if at.Unix() < 0 {
		return nil, who, errors.New("the time of a cosignature cannot be before 1970")
	}
	text, _, _ := bytes.Cut(own, []byte("\n\n"))
	c := Cosignature{Name: name, KeyHash: who.hash(), Time: at.UTC()}
	c.Signature = [ed25519.SignatureSize]byte(ed25519.Sign(key, cosigned(append(bytes.Clone(text), '\n'), at)))
	return append(bytes.Clone(checkpoint), c.line()...), who, nil
}
