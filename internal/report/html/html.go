package html

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
)

//go:embed verify.js
var verifyScript string

//go:embed page.js
var pageScript string

//go:embed page.css
var style string

// VerifyScript is the verifier alone, which runs under Node as well.
func VerifyScript() string { return verifyScript }

// A Page is what a page is made of. Faults, remarks and figures follow from the
// bundle, by the program and not by the page's script: whoever compares makes
// them anew.
type Page struct {
	Bundle  []byte
	Version string // of the program
	Run     string // the run to show first; empty for the newest of each procedure

	// Elsewhere are faults that the program knew of when it wrote the page, and
	// that the bundle does not tell: that the log was longer once.
	Elsewhere []Remark

	Faults    []Remark
	Waveforms int // how many captures the record holds
	Remarks   []Remark
	Open      []string // what is provisional or failed, and not closed
	Figures   []Figure
}

var plainWord = regexp.MustCompile(`^[A-Za-z0-9._-]{0,128}$`)

const (
	beforeData = `<script type="text/plain" id="bundle">`
	afterData  = "</script>\n"
	dataLine   = 96
)

// hash is what a Content-Security-Policy allows an inline script or style by.
func hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// Write prints a page. It checks nothing: that is for the page, and for
// whoever makes it anew.
func Write(w io.Writer, p Page) error {
	if !plainWord.MatchString(p.Version) || !plainWord.MatchString(p.Run) {
		return errors.New("version and run are plain words")
	}
	script := "\n" + verifyScript + "const knowledge = " + string(Schema()) + ";\n" + pageScript
	var b bytes.Buffer
	fmt.Fprintf(&b, `<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src %s; style-src %s; base-uri 'none'; form-action 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<meta name="generator" content="hvproof %s">
<meta name="hvproof-run" content="%s">
<title>hvproof record</title>
<style>%s</style>
</head>
<body>
<main id="page">
`, hash(script), hash(style), p.Version, p.Run, style)
	b.WriteString(p.answer())
	writeFound(&b, p)
	b.WriteString("</main>\n")
	if err := writeMade(&b, p); err != nil {
		return err
	}
	b.WriteString(beforeData)
	encoded := base64.StdEncoding.EncodeToString(p.Bundle)
	for len(encoded) > 0 {
		n := min(dataLine, len(encoded))
		b.WriteString(encoded[:n] + "\n")
		encoded = encoded[n:]
	}
	b.WriteString(afterData)
	b.WriteString("<script>" + script + "</script>\n</body>\n</html>\n")
	_, err := w.Write(b.Bytes())
	return err
}

var (
	generator = regexp.MustCompile(`\n<meta name="generator" content="hvproof ([A-Za-z0-9._-]{0,128})">\n<meta name="hvproof-run" content="([A-Za-z0-9._-]{0,128})">\n`)
	errNoPage = errors.New("it is not a page as hvproof prints it")
)

// Read finds in a page what it was made of, but for what follows from that. That
// the rest of the page is the one that Write prints is for the caller to compare.
func Read(page []byte) (Page, error) {
	at := bytes.Index(page, []byte("\n"+beforeData))
	if at < 0 {
		return Page{}, errNoPage
	}
	head, data := page[:at+1], page[at+1+len(beforeData):]
	end := bytes.Index(data, []byte(afterData))
	m := generator.FindSubmatch(head)
	if end < 0 || m == nil {
		return Page{}, errNoPage
	}
	raw, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(string(data[:end]), "\n", ""))
	if err != nil {
		return Page{}, errNoPage
	}
	return Page{Bundle: raw, Version: string(m[1]), Run: string(m[2]), Elsewhere: readElsewhere(head)}, nil
}
