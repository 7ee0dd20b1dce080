//go:build outside

package html

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
)

// BenchmarkBrowser prints how long headless Chromium takes to verify 10,000
// entries, as the page itself measures it.
func BenchmarkBrowser(b *testing.B) {
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(b, m, ledgertest.Origin)
	for i := range 9_995 {
		body := entry.Body{Kind: entry.Reading, Run: "k3f9-5", Path: "step"}
		body.AddNumber("attempt", 1)
		body.Add("text", fmt.Sprint(i))
		body.AddNumber("value", float64(i))
		body.Add("unit", "V")
		ledgertest.Append(b, l, body, ledgertest.Okoro)
	}
	var packed bytes.Buffer
	require.NoError(b, bundle.Write(b.Context(), &packed, bundle.Contents{Storage: m, Origins: []string{ledgertest.Origin}, Made: time.Unix(1772528400, 0), Program: "hvproof test"}))
	file := filepath.Join(b.TempDir(), "page.html")
	var page bytes.Buffer
	require.NoError(b, Write(&page, Page{Bundle: packed.Bytes(), Version: "0.1.0"}))
	require.NoError(b, os.WriteFile(file, page.Bytes(), 0o600))
	took := regexp.MustCompile(`data-took="([0-9]+)"`)
	for b.Loop() {
		ctx, cancel := context.WithTimeout(b.Context(), 2*time.Minute)
		out, err := exec.CommandContext(ctx, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir="+b.TempDir(),
			"--virtual-time-budget=100000", "--dump-dom", "file://"+file).Output()
		cancel()
		require.NoError(b, err)
		require.Contains(b, string(out), `data-answer="verified"`)
		ms := took.FindSubmatch(out)
		require.NotNil(b, ms)
		b.Logf("10,000 entries verified in the browser in %s ms", ms[1])
	}
}
