package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"

	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/people"
)

// TestSignedNoteVector is the example of C2SP signed-note (5-figures, section
// 15, check 23).
func TestSignedNoteVector(t *testing.T) {
	const raw = "This is an example message.\n\n" +
		"— example.com/foo Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
	n, err := ledger.OpenNote([]byte(raw))
	require.NoError(t, err)
	_, key, err := people.ParseVKey("example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k")
	require.NoError(t, err)
	assert.Equal(t, "This is an example message.\n", string(n.Text))
	assert.Equal(t, "example.com/foo", n.Signer)
	assert.Equal(t, uint32(0x530d903a), n.KeyHash)
	assert.True(t, n.Verify(key))
	n.Text = []byte("This is an example massage.\n")
	assert.False(t, n.Verify(key))
}

// TestEd25519Vectors are TEST 1 and TEST 2 of RFC 8032, section 7.1 (check
// 24): the signatures that OpenNote takes apart are plain Ed25519.
func TestEd25519Vectors(t *testing.T) {
	for _, v := range []struct{ seed, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
	} {
		unhex := func(s string) []byte {
			b, err := hex.DecodeString(s)
			require.NoError(t, err)
			return b
		}
		key := ed25519.NewKeyFromSeed(unhex(v.seed))
		s, err := ledger.NewSigner("vector", key)
		require.NoError(t, err)
		got, err := s.Sign(unhex(v.message))
		require.NoError(t, err)
		assert.Equal(t, v.signature, hex.EncodeToString(got))
		n := ledger.Note{Text: unhex(v.message), Signer: "vector", Signature: [64]byte(unhex(v.signature)),
			KeyHash: people.KeyHash("vector", unhex(v.public))}
		assert.True(t, n.Verify(unhex(v.public)))
		assert.Equal(t, s.KeyHash(), n.KeyHash)
	}
}

// TestOpenNoteIsStricter: of what it accepts, note.Open finds the same, and
// each spelling that note.Open tolerates is refused.
func TestOpenNoteIsStricter(t *testing.T) {
	good := signed(t, []byte("some text\nmore\n"), ledgertest.Mills)
	v, err := note.NewVerifier(ledgertest.VKey(ledgertest.Mills))
	require.NoError(t, err)
	theirs, err := note.Open(good, note.VerifierList(v))
	require.NoError(t, err)
	ours, err := ledger.OpenNote(good)
	require.NoError(t, err)
	assert.Equal(t, theirs.Text, string(ours.Text))
	assert.Equal(t, theirs.Sigs[0].Name, ours.Signer)
	assert.Equal(t, theirs.Sigs[0].Hash, ours.KeyHash)

	tolerated := 0
	alphabet := []byte("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/")
	last := bytes.LastIndexByte(good, '=') - 1
	for _, c := range alphabet {
		bad := bytes.Clone(good)
		if bad[last] == c {
			continue
		}
		bad[last] = c
		if _, err := note.Open(bad, note.VerifierList(v)); err == nil {
			tolerated++
			_, err := ledger.OpenNote(bad)
			assert.Error(t, err, "%c", c)
		}
	}
	assert.Equal(t, 3, tolerated, "note.Open takes three altered last characters")

	line := good[bytes.LastIndex(good, []byte("— ")):]
	for name, bad := range map[string][]byte{
		"the signature twice":     append(bytes.Clone(good), line...),
		"no line feed at the end": good[:len(good)-1],
		"a carriage return":       append(good[:len(good)-1:len(good)-1], '\r', '\n'),
		"a line feed in base64":   append(good[:len(good)-9:len(good)-9], append([]byte("\n"), good[len(good)-9:]...)...),
		"no signature":            []byte("some text\n\n"),
		"no blank line":           []byte("some text\n"),
		"a hyphen":                bytes.Replace(good, []byte("— "), []byte("- "), 1),
		"a control character":     bytes.Replace(good, []byte("more"), []byte("mo\x01e"), 1),
		"not UTF-8":               bytes.Replace(good, []byte("more"), []byte("mo\xffe"), 1),
		"a name with a space":     bytes.Replace(good, []byte("— r.mills"), []byte("— r mills"), 1),
		"a name with a plus":      bytes.Replace(good, []byte("— r.mills"), []byte("— r+mills"), 1),
		"a name of other letters": bytes.Replace(good, []byte("— r.mills"), []byte("— r.mіlls"), 1),
		"nothing":                 nil,
	} {
		_, err := ledger.OpenNote(bad)
		assert.Error(t, err, name)
	}
}

func TestCheckpoint(t *testing.T) {
	m := sample(t)
	raw := records(m).Checkpoint
	c, err := ledger.ParseCheckpoint(raw)
	require.NoError(t, err)
	assert.Equal(t, origin, c.Origin)
	assert.Equal(t, int64(15), c.Size)
	assert.True(t, c.Verify(publicKey(origin)))
	assert.False(t, c.Verify(publicKey(ledgertest.Mills)))
	// It is a note for others too.
	v, err := note.NewVerifier(ledgertest.VKey(origin))
	require.NoError(t, err)
	_, err = note.Open(raw, note.VerifierList(v))
	require.NoError(t, err)

	root := c.Root.String()
	for name, text := range map[string]string{
		"a leading zero":     origin + "\n015\n" + root + "\n",
		"a plus":             origin + "\n+15\n" + root + "\n",
		"an extension line":  origin + "\n15\n" + root + "\nmore\n",
		"no root":            origin + "\n15\n",
		"a short root":       origin + "\n15\n" + root[:40] + "\n",
		"spare bits":         origin + "\n15\n" + root[:42] + "B=\n",
		"no entries":         origin + "\n0\n" + root + "\n",
		"another origin":     origin + "/practice\n15\n" + root + "\n",
		"not an origin":      "example.com/log\n15\n" + root + "\n",
		"a space at the end": origin + "\n15\n" + root + " \n",
	} {
		_, err := ledger.ParseCheckpoint(signed(t, []byte(text), origin))
		assert.Error(t, err, name)
	}
	_, err = ledger.SignCheckpoint("hvproof/other/x/y", 1, c.Root, ledgertest.Signer(t, origin))
	require.Error(t, err)
}

// FuzzOpenNote: what is accepted is what would be printed, for notes and for
// checkpoints.
func FuzzOpenNote(f *testing.F) {
	m := sample(f)
	f.Add(records(m).Notes[7])
	f.Add(records(m).Checkpoint)
	f.Add(records(m).Checkpoint[:40])
	f.Fuzz(func(t *testing.T, raw []byte) {
		n, err := ledger.OpenNote(raw)
		if err != nil {
			_, err = ledger.ParseCheckpoint(raw)
			require.Error(t, err)
			return
		}
		held := binary.BigEndian.AppendUint32(nil, n.KeyHash)
		held = append(held, n.Signature[:]...)
		again := string(n.Text) + "\n— " + n.Signer + " " + base64.StdEncoding.EncodeToString(held) + "\n"
		require.Equal(t, string(raw), again)
		_, err = note.Open(raw, nil)
		_, unverified := errors.AsType[*note.UnverifiedNoteError](err)
		require.True(t, unverified, "note.Open takes it too: %v", err)
		if c, err := ledger.ParseCheckpoint(raw); err == nil {
			require.Equal(t, fmt.Sprintf("%s\n%d\n%s\n", c.Origin, c.Size, c.Root), string(n.Text))
		}
	})
}
