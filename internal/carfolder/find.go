package carfolder

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"hvproof/internal/diag"
)

// VehicleFile is the file that makes a directory a car folder.
const VehicleFile = "vehicle.yaml"

// At gives the car folder dir, which must be one.
func At(dir string) (string, error) {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", diag.Bad("make one with: hvproof init "+dir, "there is no folder %s", dir)
	case errors.Is(err, syscall.ENAMETOOLONG), errors.Is(err, syscall.ENOTDIR), errors.Is(err, syscall.EINVAL):
		return "", diag.Bad("name the car folder", "%v", err) // no disk could have it
	case err != nil:
		return "", diag.Machine("", "%v", err)
	case !info.IsDir():
		return "", diag.Bad("name the car folder", "%s is not a folder", dir)
	}
	if !has(dir) {
		return "", diag.Bad("make one with: hvproof init DIR", "%s is not a car folder: it has no %s", dir, VehicleFile)
	}
	return filepath.Clean(dir), nil
}

// Find gives the car folder that the directory from lies in.
func Find(from string) (string, error) {
	for dir := filepath.Clean(from); ; {
		if has(dir) {
			return dir, nil
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", diag.Bad("go to a car folder, name one with -C DIR, or make one with: hvproof init DIR",
				"no car folder here or above: there is no %s", VehicleFile)
		}
		dir = parent
	}
}

func has(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, VehicleFile))
	return err == nil
}
