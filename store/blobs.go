package store

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
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"
)

const (
	blobFolder = "blobs"
	unfinished = "unfinished-" // begins the names of blobs that are being written
	maxBlob    = 1 << 30       // bytes
)

// blobPath returns where the blob with that SHA-256 lies: blobs/ab/abcd….
func (s *Store) blobPath(sum [32]byte) string {
	name := hex.EncodeToString(sum[:])
	return filepath.Join(s.dir, blobFolder, name[:2], name)
}

// PutBlob stores bytes under their SHA-256, which it returns once they are
// durable. An entry that names them must be appended after that.
func (s *Store) PutBlob(ctx context.Context, data []byte) ([32]byte, error) {
	sum := sha256.Sum256(data)
	path := s.blobPath(sum)
	if err := s.mayWrite(); err != nil {
		return sum, err
	}
	if len(data) > maxBlob {
		return sum, diag.Bad("", "a file of %d bytes is too large for the log, %d at most", len(data), maxBlob)
	}
	if err := ctx.Err(); err != nil {
		return sum, err
	}
	// What is there and right was made durable by whoever put it there, or by
	// this: a process killed between rename and synchronising leaves it to us.
	if old, err := readBlob(path); err == nil && sha256.Sum256(old) == sum {
		return sum, fault(syncFolder(filepath.Dir(path)), path, "storing a file")
	}
	return sum, fault(writeBlob(filepath.Join(s.dir, blobFolder), path, data), path, "storing a file")
}

// writeBlob writes a file under a temporary name, synchronises it, gives it its
// name, and synchronises that.
func writeBlob(folder, path string, data []byte) (err error) {
	if err := makeFolder(filepath.Dir(path)); err != nil {
		return err
	}
	f, err := os.CreateTemp(folder, unfinished+"*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if _, err := f.Write(data); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := errors.Join(f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// Blob returns the bytes with that SHA-256. [ledger.ErrNoBlob] says that the file
// is not there, [ledger.ErrAlteredBlob] that it holds something else.
func (s *Store) Blob(ctx context.Context, sum [32]byte) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	path := s.blobPath(sum)
	data, err := readBlob(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: %w", path, ledger.ErrNoBlob)
	case errors.Is(err, errIrregular):
		return nil, fmt.Errorf("%s: %v: %w", path, err, ledger.ErrAlteredBlob)
	case err != nil:
		return nil, fault(err, path, "reading a stored file")
	case sha256.Sum256(data) != sum:
		return nil, fmt.Errorf("%s: %w", path, ledger.ErrAlteredBlob)
	}
	return data, nil
}

// CheckBlob implements [ledger.BlobChecker].
func (s *Store) CheckBlob(ctx context.Context, sum [32]byte) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return CheckBlobFile(s.blobPath(sum), sum)
}

// CheckBlobFile compares a blob's file with its SHA-256, a piece at a time:
// [ledger.ErrNoBlob], [ledger.ErrAlteredBlob].
func CheckBlobFile(path string, sum [32]byte) error {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: %w", path, ledger.ErrNoBlob)
	case err != nil:
		return fault(err, path, "reading a stored file")
	case !info.Mode().IsRegular() || info.Size() > maxBlob:
		return fmt.Errorf("%s: %v: %w", path, errIrregular, ledger.ErrAlteredBlob)
	}
	f, err := os.Open(path)
	if err != nil {
		return fault(err, path, "reading a stored file")
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return fault(err, path, "reading a stored file")
	}
	if [32]byte(h.Sum(nil)) != sum {
		return fmt.Errorf("%s: %w", path, ledger.ErrAlteredBlob)
	}
	return nil
}

var errIrregular = errors.New("is not a regular file of a possible size")

// readBlob reads a regular file. The kind is asked first: a car folder comes
// from anywhere, and opening a pipe in it would wait for ever.
func readBlob(path string) ([]byte, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() || info.Size() > maxBlob {
		return nil, errIrregular
	}
	return os.ReadFile(path)
}

// removeUnfinished deletes what a killed process left half written. Only the
// holder of the lease calls it, so nobody is writing them now.
func removeUnfinished(dir string) error {
	files, err := os.ReadDir(filepath.Join(dir, blobFolder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, f := range files {
		if strings.HasPrefix(f.Name(), unfinished) {
			if err := os.Remove(filepath.Join(dir, blobFolder, f.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// makeFolder makes a folder and those above it, and synchronises their names.
func makeFolder(folder string) error {
	if info, err := os.Stat(folder); err == nil && info.IsDir() {
		return nil
	}
	above := filepath.Dir(folder)
	if above != folder {
		if err := makeFolder(above); err != nil {
			return err
		}
	}
	if err := os.Mkdir(folder, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return syncFolder(above)
}
