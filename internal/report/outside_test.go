//go:build outside

package report_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/report"
	"hvproof/internal/report/pdf"
)

// TestCertificateOutside finds every item on the printed sheet, as poppler
// reads it.
func TestCertificateOutside(t *testing.T) {
	holds(t, func(r *report.Report) string {
		var b bytes.Buffer
		require.NoError(t, pdf.Write(&b, pdf.Document{Report: r, Issued: time.Date(2026, 3, 1, 17, 0, 0, 0, time.UTC), Program: "hvproof test", Head: "log"}))
		file := filepath.Join(t.TempDir(), "r.pdf")
		require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
		words, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		require.NoError(t, err)
		return string(words)
	})
}
