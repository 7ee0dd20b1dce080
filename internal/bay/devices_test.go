package bay

import (
	"crypto/rand"
	"crypto/x509"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"rsc.io/qr"

	"hvproof/internal/quantity"
)

func TestDevices(t *testing.T) {
	now := time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	dir := filepath.Join(t.TempDir(), "bay")
	d, err := openDevices(dir, rand.Reader, func() time.Time { return now })
	require.NoError(t, err)
	v, cookie, err := d.add("  r.mills'\n tablet\x1b[2J ")
	require.NoError(t, err)
	assert.NotContains(t, v.Name, "\n")
	assert.NotContains(t, v.Name, "\x1b")
	text, err := os.ReadFile(d.file())
	require.NoError(t, err)
	assert.NotContains(t, string(text), cookie, "the file does not let anybody in")

	again, err := openDevices(dir, rand.Reader, func() time.Time { return now })
	require.NoError(t, err)
	same, ok := again.of(cookie)
	assert.True(t, ok)
	assert.Equal(t, v, same)
	assert.Equal(t, d.token(cookie), again.token(cookie), "a page drawn before a restart can still be answered")
	_, ok = again.of("")
	assert.False(t, ok)
	found, err := again.out(v.ID)
	require.NoError(t, err)
	assert.True(t, found)
	_, ok = again.of(cookie)
	assert.False(t, ok)
	for range maxDevices + 3 {
		_, _, err := again.add("x")
		require.NoError(t, err)
	}
	assert.Len(t, again.all(), maxDevices)

	require.NoError(t, os.WriteFile(d.file(), []byte("rubbish\n"), 0o600))
	_, err = openDevices(dir, rand.Reader, func() time.Time { return now })
	assert.ErrorContains(t, err, "is not a device")
}

func TestPairingCode(t *testing.T) {
	now := time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	d, err := openDevices(t.TempDir(), rand.Reader, func() time.Time { return now })
	require.NoError(t, err)
	ok, _ := d.pair("")
	assert.False(t, ok, "without a code nothing is the code")
	code, err := d.newCode()
	require.NoError(t, err)
	require.Regexp(t, `^\d{8}$`, code)
	ok, _ = d.pair(code[:4] + " " + code[4:])
	assert.True(t, ok)
	ok, _ = d.pair(code)
	assert.False(t, ok, "good once")
	code, err = d.newCode()
	require.NoError(t, err)
	now = now.Add(codeLifetime + time.Second)
	ok, _ = d.pair(code)
	assert.False(t, ok, "its time is over")
	code, err = d.newCode()
	require.NoError(t, err)
	for i := range codeTries {
		ok, ended := d.pair("nothing")
		assert.False(t, ok)
		assert.Equal(t, i == codeTries-1, ended)
	}
	ok, _ = d.pair(code)
	assert.False(t, ok, "wrong once too often")
}

func TestLimit(t *testing.T) {
	now := time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	l := newLimit(3, time.Minute, func() time.Time { return now })
	for range 3 {
		assert.Zero(t, l.wait("a"))
		l.failed("a")
		now = now.Add(time.Second)
	}
	assert.Equal(t, 57*time.Second, l.wait("a"))
	assert.Zero(t, l.wait("b"))
	now = now.Add(57 * time.Second)
	assert.Zero(t, l.wait("a"))
	l.failed("a")
	assert.NotZero(t, l.wait("a"))
	l.passed("a")
	assert.Zero(t, l.wait("a"))
}

func TestCertificate(t *testing.T) {
	dir, now := t.TempDir(), time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	c, f, err := Certificate(dir, []string{"localhost"}, []net.IP{net.IPv4(127, 0, 0, 1)}, rand.Reader, now)
	require.NoError(t, err)
	assert.NoError(t, c.Leaf.VerifyHostname("localhost"))
	assert.NoError(t, c.Leaf.VerifyHostname("127.0.0.1"))
	assert.Equal(t, []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, c.Leaf.ExtKeyUsage)
	assert.False(t, c.Leaf.IsCA)
	info, err := os.Stat(filepath.Join(dir, "certificate.pem"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	_, same, err := Certificate(dir, nil, nil, rand.Reader, now.AddDate(1, 0, 0))
	require.NoError(t, err)
	assert.Equal(t, f, same)
	_, other, err := Certificate(dir, nil, nil, rand.Reader, now.AddDate(3, 0, 0))
	require.NoError(t, err)
	assert.NotEqual(t, f, other, "made anew when it is over")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "certificate.pem"), []byte("x"), 0o600))
	_, _, err = Certificate(dir, nil, nil, rand.Reader, now)
	assert.ErrorContains(t, err, "certificate.pem")
}

func TestFingerprintWords(t *testing.T) {
	list := strings.Fields(wordList)
	require.Len(t, list, 256)
	seen := map[string]bool{}
	for _, w := range list {
		assert.Regexp(t, `^[a-z]{3,8}$`, w)
		assert.False(t, seen[w], w)
		seen[w] = true
	}
	var f [32]byte
	f[0], f[9], f[31] = 255, 1, 7
	words := strings.Fields(FingerprintWords(f))
	assert.Equal(t, []string{list[255], list[0], list[1]}, []string{words[0], words[1], words[9]})
	assert.Len(t, words, 10)
	assert.Equal(t, "FF:00:", FingerprintHex(f)[:6])
}

// TestQR: the drawing and the characters have the modules of the code.
func TestQR(t *testing.T) {
	c, err := qr.Encode("https://192.0.2.7:7360", qr.M)
	require.NoError(t, err)
	drawn, err := qrDrawing("https://192.0.2.7:7360")
	require.NoError(t, err)
	black := 0
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				black++
			}
		}
	}
	assert.Equal(t, black, strings.Count(string(drawn), "h1v1h-1z"))
	text, err := QRText("https://192.0.2.7:7360")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	require.Len(t, lines, (c.Size+2*quiet+1)/2)
	for y := range c.Size {
		for x := range c.Size {
			r := []rune(lines[(y+quiet)/2])[x+quiet]
			upper := r == '█' || r == '▀'
			lower := r == '█' || r == '▄'
			light := upper
			if (y+quiet)%2 == 1 {
				light = lower
			}
			require.Equal(t, c.Black(x, y), !light, "%d %d", x, y)
		}
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct{ a, b float64 }{{-75, 70}, {0, 1}, {3.1e-3, 3.2e-3}, {5.2, 8.1}, {-1e9, 2e9}} {
		ticks := ticksBetween(c.a, c.b)
		assert.True(t, len(ticks) >= 3 && len(ticks) <= 8, "%v: %v", c, ticks)
		for _, x := range ticks {
			assert.True(t, x >= c.a && x <= c.b)
		}
	}
}

func TestTrend(t *testing.T) {
	at := time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	limit := &quantity.Bound{Kind: quantity.AtLeast, Low: 201.6e3, Dim: quantity.Ohm}
	assert.Nil(t, newTrend(nil))
	assert.Nil(t, newTrend([]point{{at: at, value: 1}}))
	tr := newTrend([]point{
		{at: at, value: 66e6, u: 1e6, dim: quantity.Ohm, limit: limit},
		{at: at.AddDate(1, 0, 0), value: 1.7e6, u: 1e5, dim: quantity.Ohm, limit: limit},
		{at: at.AddDate(1, 0, 1), value: 100e3, u: 1e3, dim: quantity.Ohm, limit: limit, bad: true},
	})
	require.Len(t, tr.Marks, 3)
	assert.True(t, tr.Log)
	assert.Less(t, tr.Marks[0].Y, tr.Marks[1].Y, "more stands higher")
	assert.Less(t, tr.Marks[1].Y, tr.Limits[0].Y1)
	assert.Greater(t, tr.Marks[2].Y, tr.Limits[0].Y1)
	assert.True(t, tr.Marks[2].Bad)
	for _, m := range newTrend([]point{{at: at, value: 0, dim: quantity.Volt}, {at: at, value: 0, dim: quantity.Volt}}).Marks {
		assert.False(t, math.IsNaN(m.Y) || math.IsInf(m.Y, 0))
	}
	for _, m := range newTrend([]point{{at: at, value: -5, dim: quantity.Volt}, {at: at, value: 400, u: math.Inf(1), dim: quantity.Volt}}).Marks {
		for _, y := range []float64{m.Y, m.Top, m.Bottom} {
			assert.True(t, y >= trendTop && y <= trendHeight-trendBottom, y)
		}
	}
}
