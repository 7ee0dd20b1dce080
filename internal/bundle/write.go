package bundle

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// Contents is what goes into a bundle.
type Contents struct {
	Storage ledger.Storage // the logs with their blobs
	Origins []string       // which of its logs
	Files   []NamedBytes   // beside the logs: see CarFile; report.txt
	Made    time.Time
	Program string

	// Cosigned has, by origin, the checkpoint with cosignatures, and who
	// cosigned, in their order.
	Cosigned map[string]Cosigned
}

// A NamedBytes is a file with its bytes.
type NamedBytes struct {
	Name string
	Data []byte
}

// Cosigned is a checkpoint with cosignatures.
type Cosigned struct {
	Checkpoint []byte
	By         []Cosigner
}

// Write packs a bundle. The same contents give the same bytes. Logs are packed
// as they are, faults included; a blob that is not there is left out, and is
// missed by whoever verifies.
func Write(ctx context.Context, w io.Writer, c Contents) error {
	m := Manifest{Made: c.Made.UTC(), Program: c.Program, Logs: slices.Sorted(slices.Values(c.Origins))}
	files := slices.SortedFunc(slices.Values(c.Files), func(a, b NamedBytes) int { return cmp.Compare(a.Name, b.Name) })
	for _, f := range files {
		m.Files = append(m.Files, File{f.Name, sha256.Sum256(f.Data)})
	}
	for _, origin := range m.Logs {
		o, err := entry.ParseOrigin(origin)
		if err != nil {
			return err
		}
		m.Practice = m.Practice || o.Practice
	}
	text, err := m.marshal()
	if err != nil {
		return err
	}
	if _, err := parseManifest(text); err != nil {
		return err
	}
	z := &zipWriter{w: w}
	if err := z.add(manifestName, text); err != nil {
		return err
	}
	for _, f := range files {
		if err := z.add(f.Name, f.Data); err != nil {
			return err
		}
	}
	blobs := map[[32]byte]bool{}
	for i, origin := range m.Logs {
		if err := z.log(ctx, c, i, origin, blobs); err != nil {
			return err
		}
	}
	if err := z.blobs(ctx, c.Storage, blobs); err != nil {
		return err
	}
	return z.close()
}

// log packs one log: its head, the keys that it names, its entries.
func (z *zipWriter) log(ctx context.Context, c Contents, i int, origin string, blobs map[[32]byte]bool) error {
	folder := logFolder(i)
	head, err := c.Storage.Checkpoint(ctx, origin)
	if err != nil {
		return err
	}
	cosigned := c.Cosigned[origin]
	if cosigned.Checkpoint != nil {
		head = cosigned.Checkpoint
	}
	if head != nil {
		if err := z.add(folder+checkpointName, head); err != nil {
			return err
		}
	}
	if len(cosigned.By) > 0 {
		text := ""
		for _, who := range cosigned.By {
			text += who.VKey() + "\n"
		}
		if err := z.add(folder+cosignersName, []byte(text)); err != nil {
			return err
		}
	}
	r, err := ledger.Verify(ctx, c.Storage, origin, ledger.VerifyOptions{})
	if err != nil {
		return err
	}
	for _, k := range keys(r.People) {
		if err := z.add(folder+k.Name, k.Data); err != nil {
			return err
		}
	}
	size, err := c.Storage.Size(ctx, origin)
	if err != nil {
		return err
	}
	return c.Storage.ReadEntries(ctx, origin, 0, size, func(index int64, raw []byte) error {
		if len(raw) > maxNote {
			return fmt.Errorf("entry %d has %d bytes; a bundle takes %d", index, len(raw), maxNote)
		}
		for _, d := range named(raw) {
			blobs[d] = true
		}
		return z.add(folder+entryName(index), raw)
	})
}

// blobs packs what the entries name, as far as it is there unaltered.
func (z *zipWriter) blobs(ctx context.Context, st ledger.Storage, named map[[32]byte]bool) error {
	digests := make([][32]byte, 0, len(named))
	for d := range named {
		digests = append(digests, d)
	}
	slices.SortFunc(digests, func(a, b [32]byte) int { return slices.Compare(a[:], b[:]) })
	for _, d := range digests {
		data, err := st.Blob(ctx, d)
		switch {
		case errors.Is(err, ledger.ErrNoBlob), errors.Is(err, ledger.ErrAlteredBlob):
			continue
		case err != nil:
			return err
		}
		if err := z.add(fmt.Sprintf("blobs/%x", d), data); err != nil {
			return err
		}
	}
	return nil
}

// named gives the blobs that a note names; none if it is no entry.
func named(raw []byte) [][32]byte {
	n, err := ledger.OpenNote(raw)
	if err != nil {
		return nil
	}
	e, err := entry.Parse(n.Text)
	if err != nil {
		return nil
	}
	return e.Blobs()
}

// keys gives the public keys of a log as files that OpenSSL and ssh-keygen
// read, sorted by name.
func keys(r *people.Register) []NamedBytes {
	var out []NamedBytes
	add := func(id string, hash uint32, key ed25519.PublicKey) {
		name := fmt.Sprintf("keys/%s-%08x", id, hash)
		out = append(out, NamedBytes{name + ".pem", []byte(people.PEM(key))}, NamedBytes{name + ".pub", []byte(people.SSH(key, id))})
	}
	if name, key := r.LogKey(); key != nil {
		add("log", people.KeyHash(name, key), key)
	}
	for _, p := range r.Persons() {
		add(p.ID, people.KeyHash(p.ID, p.Key), p.Key)
	}
	slices.SortFunc(out, func(a, b NamedBytes) int { return cmp.Compare(a.Name, b.Name) })
	return slices.CompactFunc(out, func(a, b NamedBytes) bool { return a.Name == b.Name })
}
