package carfolder

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"hvproof/checklists"
	"hvproof/internal/diag"
)

// Init makes a car folder at dir: the templates of the car's own files, the
// program's procedures, rule sets and cautions. A folder that is one already,
// and files that are in the way, are refused before anything is written.
// name is put into the vehicle file.
func Init(dir, name string) error {
	from := map[string]string{ // target: embedded file
		VehicleFile: "templates/vehicle.yaml", "people.yaml": "templates/people.yaml",
		"instruments.yaml": "templates/instruments.yaml",
	}
	return build(dir, from, func(target string, b []byte) []byte {
		if target == VehicleFile && name != "" {
			return []byte(strings.Replace(string(b), "name: My car", "name: "+name, 1))
		}
		return b
	})
}

// InitDemo makes a car folder at dir for the demo car.
func InitDemo(dir string) error {
	from := map[string]string{VehicleFile: "demo/vehicle.yaml", "people.yaml": "demo/people.yaml", "instruments.yaml": "demo/instruments.yaml"}
	for sub, pattern := range map[string]string{"answers": "*.yaml", "captures": "*"} {
		names, err := fs.Glob(checklists.Files, path.Join("demo", sub, pattern))
		if err != nil {
			return err
		}
		for _, n := range names {
			from[path.Join(sub, path.Base(n))] = n
		}
	}
	return build(dir, from, func(_ string, b []byte) []byte { return b })
}

func build(dir string, from map[string]string, edit func(target string, b []byte) []byte) error {
	for _, pattern := range []string{"procedures/*.yaml", "rules/*.yaml", "cautions.yaml", "rework.yaml"} {
		names, err := fs.Glob(checklists.Files, pattern)
		if err != nil {
			return err
		}
		for _, n := range names {
			from[n] = n
		}
	}
	if has(dir) {
		return diag.Bad("choose another folder", "%s is a car folder already", dir)
	}
	for target := range from {
		if _, err := os.Lstat(filepath.Join(dir, target)); !errors.Is(err, fs.ErrNotExist) {
			return diag.Bad("choose an empty or new folder", "%s is in the way", filepath.Join(dir, target))
		}
	}
	for target, source := range from {
		b, err := checklists.Files.ReadFile(source)
		if err != nil {
			return err
		}
		if target != VehicleFile {
			if err := write(dir, target, edit(target, b)); err != nil {
				return err
			}
		}
	}
	b, err := checklists.Files.ReadFile(from[VehicleFile]) // last: it makes the folder a car folder
	if err != nil {
		return err
	}
	return write(dir, VehicleFile, edit(VehicleFile, b))
}

func write(dir, target string, b []byte) error {
	to := filepath.Join(dir, filepath.FromSlash(target))
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return diag.Machine("", "%v", err)
	}
	if err := os.WriteFile(to, b, 0o644); err != nil {
		return diag.Machine("", "%v", err)
	}
	return nil
}
