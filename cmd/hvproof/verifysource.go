package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/store"
)

const databaseName = "hvproof.db"

// A source is a bundle, or a database with logs: a car folder's, or a copy
// under any name.
// What entries refer to lies in blobs beside the file that was named.
type source struct {
	ledger.Storage
	store   *store.Store
	bundle  *bundle.Bundle // instead of a store
	file    *os.File       // the bundle's
	page    *page          // the HTML page that the bundle was in
	name    string         // as it was named
	rubbish string         // why it is no log, "" if it may be one
	blobs   string         // folder of a copy's blobs, "" for those of the store
	temp    string         // to delete

	compared compared // what became of the report that was named
}

func openSource(name string) (*source, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, diag.Bad("name a bundle, a car folder or a copy of its hvproof.db", "%s: there is no such file", name)
	case err != nil:
		return nil, diag.Machine("", "%v", err)
	case info.IsDir():
		return (&source{name: name}).open(name)
	case !info.Mode().IsRegular():
		return nil, diag.Bad("name a bundle, a car folder or a copy of its hvproof.db", "%s: is not a regular file", name)
	}
	is, err := begins(name, "SQLite format 3\x00") // https://sqlite.org/fileformat.html, 1.3.1
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	if !is {
		return openBundle(name)
	}
	if filepath.Base(name) == databaseName {
		return (&source{name: name}).open(filepath.Dir(name))
	}
	return openCopy(name)
}

// begins reports whether a file begins with those bytes.
func begins(name, magic string) (bool, error) {
	f, err := os.Open(name)
	if err != nil {
		return false, err
	}
	defer f.Close()
	head := make([]byte, len(magic))
	n, err := io.ReadFull(f, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return string(head[:n]) == magic, err
}

// openBundle opens a bundle; anything else is rubbish.
func openBundle(name string) (*source, error) {
	if is, err := begins(name, "<!DOCTYPE html>"); err != nil || is {
		return openPage(name, err)
	}
	s := &source{name: name}
	if is, err := begins(name, "PK\x03\x04"); err != nil || !is {
		s.rubbish = fmt.Sprintf("%s is no log: neither a bundle nor the database of a car folder", diag.Printable(name))
		return s, err
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, diag.Machine("", "%v", errors.Join(err, f.Close()))
	}
	b, err := bundle.Open(f, info.Size())
	if bad := (*bundle.MalformedError)(nil); errors.As(err, &bad) {
		s.rubbish = fmt.Sprintf("%s is no bundle: %s", diag.Printable(name), bad.Why)
		return s, f.Close()
	}
	if err != nil {
		return nil, diag.Machine("", "reading %s: %v", name, errors.Join(err, f.Close()))
	}
	s.bundle, s.Storage, s.file = b, b, f
	return s, nil
}

// openCopy opens a database with another name: a copy of it under the usual
// one, with its write-ahead log if there is one.
func openCopy(name string) (*source, error) {
	temp, err := os.MkdirTemp("", "hvproof-verify-")
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	s := &source{name: name, temp: temp, blobs: filepath.Join(filepath.Dir(name), "blobs")}
	for _, suffix := range []string{"", "-wal"} {
		err := copyTo(filepath.Join(temp, databaseName+suffix), name+suffix)
		if err != nil && !(suffix != "" && errors.Is(err, fs.ErrNotExist)) {
			return nil, errors.Join(diag.Machine("", "copying %s: %v", name, err), os.RemoveAll(temp))
		}
	}
	return s.open(temp)
}

func copyTo(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

func (s *source) open(dir string) (*source, error) {
	st, err := store.Open(dir, store.Options{ReadOnly: true})
	if err != nil {
		s.close()
		if errors.Is(err, fs.ErrNotExist) {
			return nil, diag.Bad("name a bundle, a car folder or a copy of its hvproof.db", "%s: there is no log here", s.name)
		}
		return nil, err
	}
	s.store, s.Storage = st, st
	return s, nil
}

// close gives back what was opened. Nothing was written, so that nothing can
// be lost by it.
func (s *source) close() {
	if s.store != nil {
		_ = s.store.Close()
	}
	if s.file != nil {
		_ = s.file.Close()
	}
	if s.temp != "" {
		_ = os.RemoveAll(s.temp)
	}
}

// Blob gives what the log names, from beside the file that was named.
func (s *source) Blob(ctx context.Context, sum [32]byte) ([]byte, error) {
	if s.blobs == "" {
		return s.Storage.Blob(ctx, sum)
	}
	name := hex.EncodeToString(sum[:])
	path := filepath.Join(s.blobs, name[:2], name)
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: %w", path, ledger.ErrNoBlob)
	case err != nil:
		return nil, diag.Machine("", "%v", err)
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: %w", path, ledger.ErrAlteredBlob)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	if sha256.Sum256(data) != sum {
		return nil, fmt.Errorf("%s: %w", path, ledger.ErrAlteredBlob)
	}
	return data, nil
}

// CheckBlob implements [ledger.BlobChecker].
func (s *source) CheckBlob(ctx context.Context, sum [32]byte) error {
	if s.blobs != "" {
		name := hex.EncodeToString(sum[:])
		return store.CheckBlobFile(filepath.Join(s.blobs, name[:2], name), sum)
	}
	if c, ok := s.Storage.(ledger.BlobChecker); ok {
		return c.CheckBlob(ctx, sum)
	}
	_, err := s.Storage.Blob(ctx, sum)
	return err
}

// oldestFirst puts logs after those that they go on from, and gives for each
// which one that is, as its entry 0 says; none where it does not say, cannot be
// read, or names one that is not here.
func oldestFirst(ctx context.Context, src *source, origins []string) ([]string, map[string]ledger.Predecessor) {
	before := map[string]ledger.Predecessor{}
	for _, origin := range origins {
		// An entry 0 that cannot be read is a fault that verifying finds.
		_ = ledger.Read(ctx, src, origin, 0, 1, func(_ int64, e entry.Entry, _ string, _ []byte) error {
			if p, ok := ledger.PredecessorOf(e); ok && p.Origin != origin && slices.Contains(origins, p.Origin) {
				before[origin] = p
			}
			return nil
		})
	}
	var sorted []string
	waits := slices.Clone(origins)
	for len(waits) > 0 {
		i := slices.IndexFunc(waits, func(o string) bool { return !slices.Contains(waits, before[o].Origin) })
		i = max(i, 0) // a circle: one of them has to be the first
		sorted = append(sorted, waits[i])
		waits = slices.Delete(waits, i, i+1)
	}
	return sorted, before
}

// against is what the command line says to hold a log against: a checkpoint,
// another copy, or nothing.
type against struct {
	checkpoint []byte
	cosigned   []byte  // the same, with cosignatures
	of         string  // the log that the checkpoint is of
	copy       *source // nil if none
}

// maxNote bounds a checkpoint's file: it has three lines and a signature.
const maxNote = 64 << 10

func openAgainst(name string) (*against, error) {
	if name == "" {
		return &against{}, nil
	}
	src, err := openSource(name)
	if err != nil {
		return nil, err
	}
	if src.rubbish == "" {
		return &against{copy: src}, nil
	}
	raw, err := readSmall(name)
	if err != nil {
		return nil, err
	}
	own, _, err := bundle.SplitCheckpoint(raw)
	if err != nil {
		return nil, diag.Bad("name a checkpoint, exactly as hvproof log --json gives it, a bundle, a car folder or a hvproof.db",
			"--against %s: is none of them: %v", name, err)
	}
	c, err := ledger.ParseCheckpoint(own)
	if err != nil {
		return nil, err
	}
	return &against{checkpoint: own, cosigned: raw, of: c.Origin}, nil
}

func (a *against) close() {
	if a.copy != nil {
		a.copy.close()
	}
}

// into puts into the options what concerns the log of that origin. A
// checkpoint concerns the only log in any case.
func (a *against) into(ctx context.Context, opt *ledger.VerifyOptions, origin string, only bool) error {
	if a.checkpoint != nil && (only || a.of == origin) {
		opt.Against = [][]byte{a.checkpoint}
	}
	if a.copy == nil {
		return nil
	}
	has, err := a.copy.Origins(ctx)
	if slices.Contains(has, origin) {
		opt.Other = a.copy
	}
	return err
}

// missing gives a fault for every log to compare with that is not here.
func (a *against) missing(ctx context.Context, origins []string) ([]ledger.Finding, error) {
	var knows []string
	if a.copy != nil {
		var err error
		if knows, err = a.copy.Origins(ctx); err != nil {
			return nil, err
		}
	} else if a.checkpoint != nil && len(origins) > 1 {
		knows = []string{a.of}
	}
	var out []ledger.Finding
	for _, origin := range knows {
		if !slices.Contains(origins, origin) {
			out = append(out, ledger.Finding{Code: ledger.RolledBack,
				Sentence: fmt.Sprintf("what it is held against knows the log %s, which is not here", diag.Printable(origin))})
		}
	}
	return out, nil
}
