package vehicle

import (
	"fmt"
	"strings"
	"time"

	"hvproof/internal/hv"
	"hvproof/internal/yamlfile"
)

// labelAgrees is how far a pack's label may be from its cells: labels are
// rounded.
const labelAgrees = 0.005

// contradictions reports values that cannot be true together, with the places
// of both.
func (r *reader) contradictions() {
	v := r.v
	for _, p := range v.items["packs"] {
		path := "packs." + p.name
		if _, ok := v.sections[path+".cells"]; !ok && r.described(path) {
			r.fault(p.key, "write its cells: "+path+".cells: {series: 96, parallel: 1, max: 4.20 V, …}", "pack %s has no cells", p.name)
		}
		r.label(path)
		for _, f := range v.items["fuses"] {
			if v.packOfFuse(f.name) == p.name {
				r.below(path+".peak_current", "fuses."+f.name+".melting", "the fuse melts while the pack gives its peak current")
			}
		}
	}
	r.below("drive.continuous", "drive.demand", "what is asked for over minutes is never above the highest demand")
	r.below("drive.after_pack_lost", "drive.demand", "after a loss the drive must not ask for more than before")
	r.below("isolation_monitor.test_resistor", "isolation_monitor.hold_resistor", "a resistor that must trip the monitor is below one that must not")
	for _, c := range v.items["contactors"] {
		path := "contactors." + c.name
		r.rise(path + ".coil_rise")
		r.either(path+".release_factor", path+".clamp", "the factor is given by the maker, or the time follows from coil, inductance and clamp")
	}
	for _, c := range v.items["cables"] {
		r.known("cables."+c.name+".pack", "pack", "packs")
		r.section("cables." + c.name + ".section")
	}
	for _, j := range v.items["joints"] {
		r.known("joints."+j.name+".pack", "pack", "packs")
	}
	for _, d := range v.items["shutdown"] {
		path := "shutdown." + d.name + ".wire"
		for _, metres := range []string{path + "_length", path + "_section"} {
			r.either(path, metres, "a wire has one resistance: give its ohms, or its length, section and temperature")
		}
		r.section(path + "_section")
	}
	r.section("bonding.strap_section")
	r.discharged()
	r.gloves()
}

// described reports whether the file says anything about an item beyond its
// name: of one that it only names, everything is missing, and is said to be.
func (r *reader) described(path string) bool {
	for _, f := range schema {
		if rest, ok := strings.CutPrefix(f.pattern, "packs.*."); ok && r.v.leaves[path+"."+rest] != nil {
			return true
		}
	}
	return false
}

// label compares a pack's label with its cells.
func (r *reader) label(path string) {
	label, ok := r.v.leaves[path+".voltage"]
	series, ok1 := r.v.leaves[path+".cells.series"]
	cell, ok2 := r.v.leaves[path+".cells.max"]
	if !ok || !ok1 || !ok2 {
		return
	}
	low, high := series.value.Lo*cell.value.Lo*(1-labelAgrees), series.value.Hi*cell.value.Hi*(1+labelAgrees)
	if label.value.Hi < low || label.value.Lo > high {
		r.fault(label.at, fmt.Sprintf("%s cells (%s) of %s (%s) make %s", series.at.Text, series.place, cell.at.Text, cell.place,
			showVolts(series.value.Nominal*cell.value.Nominal)),
			"%s is %s, which its cells do not make", label.path, label.at.Text)
	}
}

// below asks that one value is nowhere above another.
func (r *reader) below(lower, upper, why string) {
	l, ok1 := r.v.leaves[lower]
	u, ok2 := r.v.leaves[upper]
	if ok1 && ok2 && l.value.Hi > u.value.Lo {
		r.fault(l.at, fmt.Sprintf("%s is %s (%s): %s", upper, u.at.Text, u.place, why), "%s %s is above %s", lower, l.at.Text, upper)
	}
}

// either refuses two values of which each says what the other does.
func (r *reader) either(one, other, why string) {
	a, ok1 := r.v.leaves[one]
	b, ok2 := r.v.leaves[other]
	if ok1 && ok2 {
		r.fault(b.at, fmt.Sprintf("%s is %s (%s): %s", one, a.at.Text, a.place, why), "%s %s is given beside %s", other, b.at.Text, one)
	}
}

// section refuses a cross-section that no cable has.
func (r *reader) section(path string) {
	l, ok := r.v.leaves[path]
	if !ok {
		return
	}
	if _, err := hv.CableResistance(l.value.Nominal, 1); err != nil {
		r.fault(l.at, "write the size that is printed on it, such as 1.5 mm²", "%s: %v", path, err)
	}
}

// rise refuses a point on the temperature scale where a difference is meant.
func (r *reader) rise(path string) {
	if l, ok := r.v.leaves[path]; ok && strings.Contains(l.value.Text, "C") {
		r.fault(l.at, "write the difference in kelvins, such as 60 K", "%s %s is a temperature, not a rise", path, l.at.Text)
	}
}

// discharged refuses a car that counts as discharged when it is full.
func (r *reader) discharged() {
	for _, path := range []string{"discharge.to", "workshop.discharge.to"} {
		to, ok := r.v.leaves[path]
		if !ok {
			continue
		}
		for _, p := range r.v.items["packs"] {
			series, ok1 := r.v.leaves["packs."+p.name+".cells.series"]
			cell, ok2 := r.v.leaves["packs."+p.name+".cells.max"]
			if ok1 && ok2 && to.value.Hi >= series.value.Lo*cell.value.Lo {
				r.fault(to.at, fmt.Sprintf("pack %s reaches %s (%s)", p.name, showVolts(series.value.Nominal*cell.value.Nominal), series.place),
					"%s %s is no lower than a full pack", path, to.at.Text)
			}
		}
	}
}

// gloves checks what is written about protective equipment.
func (r *reader) gloves() {
	if l, ok := r.v.leaves["protection.glove_tested"]; ok {
		if _, err := time.Parse(time.DateOnly, l.at.Text); err != nil {
			r.fault(l.at, "year, month and day, such as 2026-12-01", "%s: %q is not a day", l.path, l.at.Text)
		}
	}
}

// Place gives where a value of any kind stands in the file.
func (v *Vehicle) Place(path string) (yamlfile.Scalar, bool) {
	if l, ok := v.leaves[path]; ok {
		return l.at, true
	}
	return yamlfile.Scalar{}, false
}

// PackOf gives the pack whose current an item of a collection carries, such
// as "contactors", "left_plus"; ok is false if the file does not say.
func (v *Vehicle) PackOf(collection, item string) (pack string, ok bool) {
	pack = v.packOf(collection, item)
	return pack, pack != ""
}

// PrechargeFrom gives the pack that pre-charges the DC link, "" if the file
// does not say.
func (v *Vehicle) PrechargeFrom() string { return v.prechargeFrom() }
