package bundle

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

// Check finds the faults of a bundle that no log can tell: keys that are not
// the log's, cosignatures that are not good, files that are not those that
// were packed, practice that says it is none. reports are the answers of
// ledger.Verify for all its logs.
func (b *Bundle) Check(reports []ledger.Report) []Finding {
	var out []Finding
	practice := false
	for _, r := range reports {
		o, err := entry.ParseOrigin(r.Origin)
		practice = practice || err == nil && o.Practice
		l := b.log(r.Origin)
		out = append(out, l.checkKeys(r)...)
		out = append(out, l.checkCosigners(r.Origin)...)
	}
	if practice != b.Practice {
		out = append(out, Finding{"", ledger.Finding{Code: ledger.PracticeAsEvidence,
			Sentence: manifestName + " says of practice something else than the logs do"}})
	}
	for d := range b.blobs {
		if !b.named[d] {
			out = append(out, Finding{"", ledger.Finding{Code: ledger.AlteredBlob,
				Sentence: fmt.Sprintf("no entry names the blob %x, which lies in the bundle", d)}})
		}
	}
	for _, f := range b.Files {
		if s, ok := b.files[f.Name]; !ok || s.sum != f.Digest {
			out = append(out, Finding{"", ledger.Finding{Code: ledger.AlteredBlob,
				Sentence: fmt.Sprintf("%s is not the file that was packed: its SHA-256 is another", f.Name)}})
		}
	}
	return out
}

// A Finding is a fault of a log, or with an empty Origin of the bundle.
type Finding struct {
	Origin string
	ledger.Finding
}

// checkKeys compares the keys that lie in the bundle for people with OpenSSL
// with those that the log names.
func (l *log) checkKeys(r ledger.Report) []Finding {
	var out []Finding
	fault := func(sentence string) {
		out = append(out, Finding{r.Origin, ledger.Finding{Code: ledger.WrongSigner, Sentence: sentence}})
	}
	want := keys(r.People)
	byName := func(name string) func(NamedBytes) bool {
		return func(k NamedBytes) bool { return k.Name == name }
	}
	for _, k := range l.keys {
		if i := slices.IndexFunc(want, byName(k.Name)); i < 0 || !bytes.Equal(want[i].Data, k.Data) {
			fault(fmt.Sprintf("%s in the bundle is not a key of this log", k.Name))
		}
	}
	for _, k := range want {
		if !slices.ContainsFunc(l.keys, byName(k.Name)) {
			fault(fmt.Sprintf("%s is not in the bundle", k.Name))
		}
	}
	return out
}

// A Countersigned is a good cosignature of a log's checkpoint.
type Countersigned struct {
	Cosigner
	Cosignature
}

// Countersigned gives who countersigned the checkpoint of a log, in order,
// once Check found nothing wrong with it.
func (b *Bundle) Countersigned(origin string) []Countersigned {
	list, _ := b.log(origin).countersigned()
	return list
}

// Cosigned gives what Write needs to pack the checkpoint again, with its
// cosignatures.
func (b *Bundle) Cosigned(origin string) Cosigned {
	l := b.log(origin)
	c := Cosigned{Checkpoint: slices.Clone(l.cosigned)}
	list, _ := l.countersigned()
	for _, x := range list {
		c.By = append(c.By, x.Cosigner)
	}
	return c
}

// countersigned pairs cosigners with cosignatures; the sentence says what is wrong.
func (l *log) countersigned() (list []Countersigned, wrong string) {
	lines := strings.Split(strings.TrimSuffix(string(l.cosigners), "\n"), "\n")
	if l.cosigners == nil {
		lines = nil
	} else if !bytes.HasSuffix(l.cosigners, []byte("\n")) {
		return nil, "the list of cosigners is not spelled as it would be printed"
	}
	if len(lines) != len(l.cosignatures) {
		return nil, fmt.Sprintf("the checkpoint has %d cosignatures, and there are keys of %d cosigners", len(l.cosignatures), len(lines))
	}
	for i, line := range lines {
		who, err := ParseCosigner(line)
		if err != nil {
			return nil, err.Error()
		}
		if !l.cosignatures[i].By(who, l.cosigned) {
			return nil, "the cosignature of " + who.Name + " does not belong to this checkpoint"
		}
		list = append(list, Countersigned{who, l.cosignatures[i]})
	}
	return list, ""
}

func (l *log) checkCosigners(origin string) []Finding {
	_, wrong := l.countersigned()
	if wrong == "" {
		return nil
	}
	return []Finding{{origin, ledger.Finding{Entry: max(l.size()-1, 0), Code: ledger.BadCheckpoint, Sentence: wrong}}}
}
