package people

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// algEd25519 is the signature type byte of C2SP signed notes for Ed25519.
const algEd25519 = 1

// VKey prints a public key as C2SP signed notes do: name, key hash and the
// base64 of the type byte and the key, joined by '+'.
func VKey(name string, key ed25519.PublicKey) string {
	typed := append([]byte{algEd25519}, key...)
	return fmt.Sprintf("%s+%08x+%s", name, KeyHash(name, key), base64.StdEncoding.EncodeToString(typed))
}

// ParseVKey reads what [VKey] prints and nothing else, and refuses keys that
// [CheckKey] refuses.
func ParseVKey(text string) (name string, key ed25519.PublicKey, err error) {
	parts := strings.Split(text, "+")
	if len(parts) < 3 || parts[0] == "" {
		return "", nil, fmt.Errorf("%.80q is not a key: name+hash+base64", text)
	}
	// The base64 may hold '+' itself.
	raw, err := base64.StdEncoding.DecodeString(strings.Join(parts[2:], "+"))
	if err != nil || len(raw) != 1+ed25519.PublicKeySize || raw[0] != algEd25519 || VKey(parts[0], raw[1:]) != text {
		return "", nil, fmt.Errorf("%.80q is not an Ed25519 key: name+hash+base64", text)
	}
	if err := CheckKey(raw[1:]); err != nil {
		return "", nil, err
	}
	return parts[0], raw[1:], nil
}

// KeyHash is the first four bytes of SHA-256 over name, line feed, type byte
// and key (C2SP signed-note). It tells keys apart; it proves nothing.
func KeyHash(name string, key ed25519.PublicKey) uint32 {
	h := sha256.New()
	h.Write([]byte(name + "\n"))
	h.Write([]byte{algEd25519})
	h.Write(key)
	return binary.BigEndian.Uint32(h.Sum(nil))
}

// Fingerprint prints the SHA-256 of a public key as [Digits] does.
func Fingerprint(key []byte) string { return Digits(sha256.Sum256(key)) }

// Digits prints a SHA-256 digest (of a key, of entry 0) as twelve groups of
// five decimal digits, to be read aloud: the digest as one big-endian number,
// modulo 10 to the 60th, with leading zeros; just under 200 of its bits.
func Digits(digest [32]byte) string {
	n := new(big.Int).SetBytes(digest[:])
	n.Mod(n, new(big.Int).Exp(big.NewInt(10), big.NewInt(60), nil))
	digits := fmt.Sprintf("%060d", n)
	groups := make([]string, 0, 12)
	for i := 0; i < len(digits); i += 5 {
		groups = append(groups, digits[i:i+5])
	}
	return strings.Join(groups, " ")
}

// PEM prints a public key as OpenSSL reads it: SubjectPublicKeyInfo (RFC 8410).
func PEM(key ed25519.PublicKey) string {
	prefix, _ := hex.DecodeString("302a300506032b6570032100")
	return "-----BEGIN PUBLIC KEY-----\n" +
		base64.StdEncoding.EncodeToString(append(prefix, key...)) +
		"\n-----END PUBLIC KEY-----\n"
}

// SSH prints a public key as OpenSSH does, `ssh-ed25519 BASE64 comment`
// (RFC 8709), so that ssh-keygen reads it.
func SSH(key ed25519.PublicKey, comment string) string {
	var blob []byte
	for _, part := range [][]byte{[]byte("ssh-ed25519"), key} {
		blob = binary.BigEndian.AppendUint32(blob, uint32(len(part)))
		blob = append(blob, part...)
	}
	return "ssh-ed25519 " + base64.StdEncoding.EncodeToString(blob) + " " + comment + "\n"
}

// CheckKey refuses public keys that must not be relied on: of a wrong length,
// not a canonical point of the curve, or of small order, for which a signature
// of any text can be made by anybody (RFC 8032, section 5.1.3, decoding).
func CheckKey(key ed25519.PublicKey) error {
	if len(key) != ed25519.PublicKeySize {
		return fmt.Errorf("a key of %d bytes is not an Ed25519 public key: 32 are needed", len(key))
	}
	big255 := slices.Clone([]byte(key))
	sign := big255[31] >> 7
	big255[31] &= 0x7F
	slices.Reverse(big255)
	y := new(big.Int).SetBytes(big255)

	p := new(big.Int).Sub(new(big.Int).Lsh(big.NewInt(1), 255), big.NewInt(19))
	if y.Cmp(p) >= 0 {
		return errors.New("the key is not a canonical point of the curve")
	}
	// x² = (y² − 1) / (d y² + 1), with d = −121665/121666.
	d := new(big.Int).ModInverse(big.NewInt(121666), p)
	d.Mul(d, big.NewInt(-121665)).Mod(d, p)
	one := big.NewInt(1)
	yy := new(big.Int).Mul(y, y)
	u := new(big.Int).Sub(yy, one)
	v := new(big.Int).Mul(d, yy)
	v.Add(v, one).Mod(v, p)
	xx := u.Mul(u, v.ModInverse(v, p))
	xx.Mod(xx, p)
	x := new(big.Int).ModSqrt(xx, p)
	if x == nil {
		return errors.New("the key is not a point of the curve")
	}
	if x.Sign() == 0 && sign == 1 {
		return errors.New("the key is not a canonical point of the curve")
	}
	// Of small order are exactly the points that three doublings take to
	// (0, 1). Doubling, with a = −1: x' = 2xy/(1 + d x²y²), y' = (y² + x²)/(1 − d x²y²).
	for range 3 {
		xy := new(big.Int).Mul(x, y)
		xy.Mod(xy, p)
		k := new(big.Int).Mul(xy, xy)
		k.Mul(k, d).Mod(k, p)
		sum := new(big.Int).Add(new(big.Int).Mul(x, x), new(big.Int).Mul(y, y))
		plus := new(big.Int).Add(one, k)
		minus := new(big.Int).Sub(one, k)
		minus.Mod(minus, p)
		x = xy.Lsh(xy, 1)
		x.Mul(x, plus.ModInverse(plus, p)).Mod(x, p)
		y = sum.Mul(sum, minus.ModInverse(minus, p))
		y.Mod(y, p)
	}
	if x.Sign() == 0 && y.Cmp(one) == 0 {
		return errors.New("the key is weak: a point of small order, for which anybody can sign")
	}
	return nil
}
