package people

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"math/big"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func key(t testing.TB, text string) ed25519.PublicKey {
	t.Helper()
	raw, err := hex.DecodeString(text)
	require.NoError(t, err)
	return raw
}

// Public keys of RFC 8032, section 7.1, TEST 1 to 3.
var published = []string{
	"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
	"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
	"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
}

func TestCheckKeyAccepts(t *testing.T) {
	for _, k := range published {
		assert.NoError(t, CheckKey(key(t, k)))
	}
	for i := range 50 {
		seed := make([]byte, 32)
		seed[0] = byte(i)
		assert.NoError(t, CheckKey(ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)))
	}
}

// TestCheckKeyRefuses: the points of small order of the curve of RFC 8032 and
// their other encodings, as they are commonly listed (from memory; that they
// are of small order is what CheckKey computes).
func TestCheckKeyRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"0100000000000000000000000000000000000000000000000000000000000000": "weak",
		"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f": "weak",
		"0000000000000000000000000000000000000000000000000000000000000000": "weak",
		"0000000000000000000000000000000000000000000000000000000000000080": "weak",
		"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05": "weak",
		"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85": "weak",
		"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a": "weak",
		"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa": "weak",
		"0100000000000000000000000000000000000000000000000000000000000080": "canonical",
		"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff": "canonical",
		"edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f": "canonical",
		"eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f": "canonical",
		"ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff": "canonical",
		"0200000000000000000000000000000000000000000000000000000000000000": "not a point",
		"d75a98": "32 are needed",
	} {
		err := CheckKey(key(t, text))
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), want, text)
	}
}

// TestCheckKeyAgreesOnPoints: what is no point for CheckKey verifies nothing,
// and about half of all strings are points.
func TestCheckKeyAgreesOnPoints(t *testing.T) {
	points := 0
	for i := range 100 {
		raw := slices.Clone(key(t, published[0]))
		raw[3], raw[9] = byte(i), byte(7*i)
		if CheckKey(raw) == nil {
			points++
		}
	}
	assert.Greater(t, points, 30)
	assert.Less(t, points, 70)
}

func TestFingerprint(t *testing.T) {
	got := Fingerprint(key(t, published[0]))
	assert.Regexp(t, `^(\d{5} ){11}\d{5}$`, got)
	assert.NotEqual(t, got, Fingerprint(key(t, published[1])))

	assert.Equal(t, strings.Repeat("00000 ", 11)+"00001", Digits([32]byte{31: 1}))
	var digest [32]byte
	n := new(big.Int).Exp(big.NewInt(10), big.NewInt(60), nil)
	n.Add(n, big.NewInt(1234567)).FillBytes(digest[:])
	assert.Equal(t, strings.Repeat("00000 ", 10)+"00012 34567", Digits(digest))
}

func TestVKey(t *testing.T) {
	// C2SP signed-note, example (5-figures, check 23): the key hash is 530d903a.
	const vkey = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
	name, k, err := ParseVKey(vkey)
	require.NoError(t, err)
	assert.Equal(t, "example.com/foo", name)
	assert.Equal(t, uint32(0x530d903a), KeyHash(name, k))
	assert.Equal(t, vkey, VKey(name, k))
	for _, bad := range []string{"", "a", "a+b", "+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
		strings.Replace(vkey, "530d903a", "530d903b", 1), strings.Replace(vkey, "530d903a", "530D903A", 1),
		strings.Replace(vkey, "+Aeky", "+Auky", 1), vkey + "A", vkey[:len(vkey)-1],
		VKey("weak", key(t, "0100000000000000000000000000000000000000000000000000000000000000"))} {
		_, _, err := ParseVKey(bad)
		assert.Error(t, err, bad)
	}
}

func TestPEM(t *testing.T) {
	block, rest := pem.Decode([]byte(PEM(key(t, published[0]))))
	require.NotNil(t, block)
	assert.Empty(t, rest)
	got, err := x509.ParsePKIXPublicKey(block.Bytes)
	require.NoError(t, err)
	assert.Equal(t, key(t, published[0]), got)
}
