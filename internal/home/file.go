package home

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

const (
	privateMode = 0o600
	publicMode  = 0o644
	folderMode  = 0o700
	maxFile     = 64 << 10 // longest file read here; keys and checkpoints have less than 2 KiB
)

// errIrregular is returned for a device, a pipe or a folder in place of a file.
var errIrregular = errors.New("is not a regular file")

// readRegular returns the contents of a regular file of at most maxFile bytes.
func readRegular(path string) ([]byte, error) {
	data, _, err := readWithMode(path)
	return data, err
}

// readWithMode is readRegular that also returns the mode bits of what it read.
func readWithMode(path string) ([]byte, fs.FileMode, error) {
	// The kind is asked before opening: opening a pipe would wait for a writer.
	if info, err := os.Stat(path); err != nil {
		return nil, 0, err
	} else if !info.Mode().IsRegular() {
		return nil, 0, errIrregular
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, 0, err
	}
	if len(data) > maxFile {
		return nil, 0, fmt.Errorf("is longer than %d bytes", maxFile)
	}
	return data, info.Mode(), nil
}

// createOnce writes a file that must not exist yet, whole and synchronised. It
// returns fs.ErrExist where the file is there already, whoever made it.
func createOnce(path string, data []byte, mode fs.FileMode) error {
	temporary, err := writeTemporary(path, data, mode)
	if err != nil {
		return err
	}
	defer os.Remove(temporary)
	// A link fails where the name exists; a rename would replace a key.
	if err := os.Link(temporary, path); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fs.ErrExist
		}
		return createExclusive(path, data, mode)
	}
	return syncFolder(filepath.Dir(path))
}

// createExclusive is createOnce for file systems without links. A crash in the
// midst of it leaves a short file, which every reader refuses.
func createExclusive(path string, data []byte, mode fs.FileMode) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	if err := writeSynced(f, data); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return syncFolder(filepath.Dir(path))
}

// replace writes a file whole and synchronised, in place of an older one.
func replace(path string, data []byte, mode fs.FileMode) error {
	temporary, err := writeTemporary(path, data, mode)
	if err != nil {
		return err
	}
	if err := os.Rename(temporary, path); err != nil {
		return errors.Join(err, os.Remove(temporary))
	}
	return syncFolder(filepath.Dir(path))
}

// writeTemporary writes a synchronised file beside path and returns its name.
func writeTemporary(path string, data []byte, mode fs.FileMode) (string, error) {
	folder := filepath.Dir(path)
	if err := makeFolder(folder); err != nil {
		return "", err
	}
	f, err := os.CreateTemp(folder, ".new-*") // made with mode 0600
	if err != nil {
		return "", err
	}
	if mode != privateMode {
		if err := f.Chmod(mode); err != nil {
			return "", errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}
	if err := writeSynced(f, data); err != nil {
		return "", errors.Join(err, os.Remove(f.Name()))
	}
	return f.Name(), nil
}

// writeSynced writes all of data, synchronises and closes the file.
func writeSynced(f *os.File, data []byte) error {
	if _, err := f.Write(data); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Sync(); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}

// makeFolder makes a folder and those above it, and synchronises the names of
// the new ones.
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
	if err := os.Mkdir(folder, folderMode); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return syncFolder(above)
}
