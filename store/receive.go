package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"hash"
	"io"
	"os"
	"path/filepath"

	"hvproof/internal/diag"
)

// A Received is a file that was taken in and has no name in the log yet. It is
// kept or discarded; one that was neither when the process ends is removed by
// whoever opens the folder for writing next.
type Received struct {
	s    *Store
	path string // of the unfinished file, "" when it is gone
	sum  [32]byte
	size int64
}

// Receive reads a file of at most 1 GiB to its end, straight to the disk.
func (s *Store) Receive(ctx context.Context, from io.Reader) (_ *Received, err error) {
	if err := s.mayWrite(); err != nil {
		return nil, err
	}
	folder := filepath.Join(s.dir, blobFolder)
	if err := makeFolder(folder); err != nil {
		return nil, fault(err, folder, "taking a file in")
	}
	f, err := os.CreateTemp(folder, unfinished+"*")
	if err != nil {
		return nil, fault(err, folder, "taking a file in")
	}
	r := &Received{s: s, path: f.Name()}
	defer func() {
		if err != nil {
			_ = f.Close()
			r.Discard()
		}
	}()
	h := sha256.New()
	disk := &counted{w: f, h: h}
	switch r.size, err = io.Copy(disk, io.LimitReader(from, maxBlob+1)); {
	case disk.err != nil:
		return nil, fault(disk.err, r.path, "taking a file in")
	case err != nil:
		return nil, diag.Bad("send it once more", "the file did not come whole: %v", err)
	case r.size > maxBlob:
		return nil, diag.Bad("", "the file is larger than the log takes, %d MiB at most", maxBlob>>20)
	case ctx.Err() != nil:
		return nil, ctx.Err()
	}
	if err := errors.Join(f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return nil, fault(err, r.path, "taking a file in")
	}
	h.Sum(r.sum[:0])
	return r, nil
}

// counted writes and remembers whose fault an error was.
type counted struct {
	w   io.Writer
	h   hash.Hash
	err error
}

func (c *counted) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.h.Write(b[:n])
	c.err = err
	return n, err
}

// Digest gives the SHA-256 of the file, Size its length in bytes.
func (r *Received) Digest() [32]byte { return r.sum }

// Size gives the length in bytes.
func (r *Received) Size() int64 { return r.size }

// Bytes gives the file's content, whether it was kept or not.
func (r *Received) Bytes() ([]byte, error) {
	path := r.path
	if path == "" {
		path = r.s.blobPath(r.sum)
	}
	data, err := readBlob(path)
	if err == nil && sha256.Sum256(data) != r.sum {
		err = errors.New("holds something else than was taken in")
	}
	return data, fault(err, path, "reading a file that was taken in")
}

// Keep stores the file under its SHA-256, durably: an entry may name it then.
func (r *Received) Keep() error {
	if r.path == "" {
		return nil
	}
	path := r.s.blobPath(r.sum)
	if err := makeFolder(filepath.Dir(path)); err != nil {
		return fault(err, path, "storing a file")
	}
	if err := os.Rename(r.path, path); err != nil {
		return fault(err, path, "storing a file")
	}
	r.path = ""
	return fault(syncFolder(filepath.Dir(path)), path, "storing a file")
}

// Discard removes the file if it was not kept.
func (r *Received) Discard() {
	if r.path != "" {
		_ = os.Remove(r.path) // else whoever opens the folder next removes it
		r.path = ""
	}
}
