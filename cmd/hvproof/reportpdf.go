package main

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"regexp"
	"time"

	"hvproof/internal/carfolder"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/report"
	"hvproof/internal/report/pdf"
)

// pdfDocument gives a report what its pages say beside it: the head of the
// log, and in the file's own data what is needed to make it anew.
func (s *session) pdfDocument(about string, r *report.Report, src report.Source) (pdf.Document, error) {
	head := fmt.Sprintf("%s, %d entries, checkpoint missing", src.Origin, src.Entries)
	if c, err := ledger.ParseCheckpoint(src.Checkpoint); err == nil {
		head = fmt.Sprintf("log %s, %d entries, root %s", c.Origin, c.Size, entry.FormatHash(c.Root))
	}
	st := stamp{version, about, src.Issued, src.Checkpoint, s.madeWith(about)}
	return pdf.Document{Report: r, Checkpoint: src.Checkpoint, Head: head, Issued: src.Issued, Program: src.Program, Keywords: st.String()}, nil
}

// madeWith tells the files of the car folder that a report is made with from
// others: the first 16 digits of a SHA-256. Of a run the log has everything but
// people's names.
func (s *session) madeWith(about string) string {
	folder, _ := carfolder.Load(s.root)
	h := sha256.New()
	for _, c := range folder.Contacts {
		fmt.Fprintf(h, "%q %q\n", c.ID, c.Name)
	}
	if isCar(about) {
		for _, f := range folder.Files() {
			fmt.Fprintf(h, "%s %q\n", f.Digest, f.Name)
		}
	}
	return hex.EncodeToString(h.Sum(nil))[:16]
}

// A stamp lies in a printed report's own data: what is needed to make it anew.
type stamp struct {
	version, about string // of the program; the run's id, wholeCar or shortCar
	issued         time.Time
	checkpoint     []byte
	files          string // see session.madeWith; "" in reports of early versions
}

func (s stamp) String() string {
	return fmt.Sprintf("hvproof-report|%s|%s|%s|%s|%s", s.version, s.about, s.issued.Format(time.RFC3339), base64.StdEncoding.EncodeToString(s.checkpoint), s.files)
}

var stampForm = regexp.MustCompile(`hvproof-report\|([0-9a-z.-]{1,40})\|([A-Za-z0-9._-]{1,128})\|([0-9TZ:+-]{20,25})\|([A-Za-z0-9+/=]{1,999})(?:\|([0-9a-f]{16}))?`)

// readStamp finds the stamp in a file.
func readStamp(file []byte) (stamp, bool) {
	m := stampForm.FindSubmatch(file)
	if m == nil {
		return stamp{}, false
	}
	at, err := time.Parse(time.RFC3339, string(m[3]))
	if err != nil {
		return stamp{}, false
	}
	checkpoint, err := base64.StdEncoding.DecodeString(string(m[4]))
	return stamp{string(m[1]), string(m[2]), at, checkpoint, string(m[5])}, err == nil
}
