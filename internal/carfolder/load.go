package carfolder

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"hvproof/checklists"
	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/procedure"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// A Folder is a car folder with all its files read.
type Folder struct {
	Dir         string
	Vehicle     *vehicle.Vehicle
	Book        *rules.Book
	Library     *procedure.Library
	Instruments []measure.Instrument
	Contacts    []Contact
	Rework      *rework.Book

	files        []plan.File
	mu           sync.Mutex                       // of requirements
	requirements map[bool][]readiness.Requirement // by practice
}

// Load reads every file of the car folder dir. The list holds all faults of
// all files, sorted, as far as they can be known beside each other; with a fault
// in it the Folder is only good for showing the list. A file that is not there, other than vehicle.yaml, is an empty one.
func Load(dir string) (*Folder, diag.List) {
	f := &Folder{Dir: dir}
	var all diag.List
	car, faults := f.read(VehicleFile)
	all.Append(faults)
	if car == nil {
		return f, all
	}
	f.Vehicle, faults = vehicle.Parse(car)
	all.Append(faults)

	var sets []*rules.Set
	for _, file := range f.readAll("rules", &all) {
		set, faults := rules.Parse(file)
		all.Append(faults)
		if set.ID != "" {
			sets = append(sets, set)
		}
	}
	var procedures []*procedure.Procedure
	for _, file := range f.readAll("procedures", &all) {
		p, faults := procedure.Parse(file)
		all.Append(faults)
		if p != nil {
			procedures = append(procedures, p)
		}
	}
	texts := f.readTexts(&all)
	f.readInstruments(&all)
	f.readContacts(&all)
	f.readRework(&all)
	faulty := procedure.Faulty{Car: faultIn(all, VehicleFile), Rules: faultIn(all, "rules"), Procedures: faultIn(all, "procedures"), Texts: faultIn(all, "cautions.yaml")}
	f.Book, faults = rules.NewBook(sets, f.Vehicle)
	all.Append(faults)
	f.Library, faults = procedure.NewLibrary(procedures, texts)
	all.Append(faults)
	all.Append(f.Library.CheckBeside(f.Vehicle, f.Book, faulty))
	if !faulty.Car {
		all.Append(f.sense(faulty.Procedures))
	}
	if faulty != (procedure.Faulty{}) {
		all.Warnf(diag.Place{File: VehicleFile}, "mend the faults and check again",
			"not everything could be checked: what rests on a file with faults is only known without them")
	}
	all.Sort()
	return f, all
}

// faultIn reports whether a file, or one of a directory, has a fault.
func faultIn(problems diag.List, name string) bool {
	return slices.ContainsFunc(problems, func(p diag.Problem) bool {
		return p.Severity == diag.Fault && (p.File == name || strings.HasPrefix(p.File, name+"/"))
	})
}

// read reads one file of the folder; nil without a fault is a file that is
// not there.
func (f *Folder) read(name string) (*yamlfile.File, diag.List) {
	var faults diag.List
	file, err := os.Open(filepath.Join(f.Dir, filepath.FromSlash(name)))
	if errors.Is(err, fs.ErrNotExist) && name != VehicleFile {
		return nil, nil
	}
	if err != nil {
		faults.Errorf(diag.Place{File: name}, "", "cannot be read: %v", err)
		return nil, faults
	}
	defer file.Close()
	y, faults := yamlfile.Read(name, file)
	digest := sha256.Sum256(y.Bytes)
	f.files = append(f.files, plan.File{Name: name, Origin: origin(name, y.Bytes), Digest: hex.EncodeToString(digest[:])})
	return y, faults
}

// readAll reads the YAML files of a directory, in the order of their names.
func (f *Folder) readAll(sub string, all *diag.List) []*yamlfile.File {
	entries, err := os.ReadDir(filepath.Join(f.Dir, sub))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		all.Errorf(diag.Place{File: sub}, "", "cannot be read: %v", err)
	}
	var out []*yamlfile.File
	for _, e := range entries {
		name := path.Join(sub, e.Name())
		switch ext := filepath.Ext(e.Name()); {
		case e.IsDir() || strings.HasPrefix(e.Name(), ".") || strings.HasSuffix(e.Name(), "~"):
			continue
		case ext != ".yaml":
			all.Warnf(diag.Place{File: name}, "give it the ending .yaml, or put it elsewhere", "is not read")
			continue
		}
		y, faults := f.read(name)
		all.Append(faults)
		if y != nil && !faults.Errors() {
			out = append(out, y)
		}
	}
	return out
}

func (f *Folder) readTexts(all *diag.List) *procedure.Texts {
	y, faults := f.read("cautions.yaml")
	all.Append(faults)
	if y == nil || faults.Errors() {
		return nil
	}
	texts, faults := procedure.ParseTexts(y)
	all.Append(faults)
	return texts
}

// origin tells a file as it came with the program from one that was changed,
// and from the shop's own.
func origin(name string, b []byte) string {
	shipped, err := checklists.Files.ReadFile(name)
	switch {
	case err != nil:
		return plan.Own
	case slices.Equal(shipped, b):
		return plan.Shipped
	}
	return plan.Changed
}

// Plan makes a procedure ready for the car.
func (f *Folder) Plan(id string, practice bool) (*plan.Plan, error) {
	if _, ok := f.Library.Procedure(id); !ok {
		hint := "see the procedures with: hvproof ready"
		if near, ok := diag.Nearest(id, f.Library.IDs()); ok {
			hint = "did you mean " + near + "?"
		}
		return nil, diag.Bad(hint, "there is no procedure %q", id)
	}
	p, faults := f.Library.Plan(id, f.Vehicle, f.Book, f.Files(), practice)
	if faults.Errors() || p == nil {
		faults.Sort()
		var lines []string
		for _, q := range faults {
			if q.Severity == diag.Fault {
				lines = append(lines, q.Error())
			}
		}
		return nil, &diag.Error{Class: diag.ClassBadInput, Message: strings.Join(lines, "\n"), Problems: faults}
	}
	return p, nil
}

// Files gives the files that plans are made from, with their digests.
func (f *Folder) Files() []plan.File { return f.files }

// Instrument gives the instrument with the id.
func (f *Folder) Instrument(id string) (measure.Instrument, bool) {
	i := slices.IndexFunc(f.Instruments, func(in measure.Instrument) bool { return in.ID == id })
	if i < 0 {
		return measure.Instrument{}, false
	}
	return f.Instruments[i], true
}

// WithRole gives the instruments that have a role, in the order of the file.
func (f *Folder) WithRole(role string) []measure.Instrument {
	var out []measure.Instrument
	for _, in := range f.Instruments {
		if slices.Contains(in.Roles, role) {
			out = append(out, in)
		}
	}
	return out
}

// Stamp tells one state of a car folder's files from another by their names,
// sizes and times, without reading them.
func Stamp(dir string) string {
	var b strings.Builder
	for _, pattern := range []string{"*.yaml", "procedures/*", "rules/*"} {
		names, err := filepath.Glob(filepath.Join(dir, filepath.FromSlash(pattern)))
		if err != nil {
			return ""
		}
		for _, name := range names {
			info, err := os.Stat(name)
			if err != nil {
				return ""
			}
			fmt.Fprintf(&b, "%s %d %d\n", name, info.Size(), info.ModTime().UnixNano())
		}
	}
	return b.String()
}
