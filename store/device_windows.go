package store

import (
	"os"
	"path/filepath"
	"strings"
)

// lieOf knows volumes apart, and not which disk they are on.
func lieOf(copied, of string) (Place, error) {
	var volumes [2]string
	for i, dir := range []string{copied, of} {
		if _, err := os.Stat(dir); err != nil {
			return UnknownPlace, err
		}
		whole, err := filepath.EvalSymlinks(dir)
		if err == nil {
			whole, err = filepath.Abs(whole)
		}
		if err != nil {
			return UnknownPlace, err
		}
		volumes[i] = filepath.VolumeName(whole)
	}
	if strings.EqualFold(volumes[0], volumes[1]) {
		return SameDevice, nil
	}
	return UnknownPlace, nil
}
