package vehicle

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// The voltages between which this program's procedures are meant to be
// used, in V. 60 V DC is where high voltage begins (UN R100, ISO 6469 class
// B); glove class 0 and meters of CAT III 1000 V are what the trade has.
const (
	lowestHighVoltage  = 60
	highestHighVoltage = 1000
)

// sense reports what is well written and cannot be.
func (r *reader) sense() {
	r.packs()
	r.contactors()
	r.fuses()
	r.shutdown()
	r.contradictions()
	r.signals()
	r.order("low_voltage.dip", "low_voltage.min", "low_voltage.nominal", "low_voltage.max")
	r.order("pyro.no_fire", "pyro.all_fire")
	r.known("precharge.from", "pack", "packs")
	if packs := r.v.items["packs"]; len(packs) > 1 && r.v.prechargeFrom() == "" {
		if at, ok := r.v.sections["precharge"]; ok {
			r.warn(at, "write precharge.from", "precharge does not say which of %d packs it is fed from", len(packs))
		}
	}
	for _, part := range r.v.items["isolation.parts"] {
		if part.name == Whole {
			r.fault(part.key, "leave it out of isolation.parts", "%q is the whole HV system, not one of its parts", Whole)
		}
	}
}

// packs checks each pack by itself, and that parallel packs fit together.
func (r *reader) packs() {
	v := r.v
	var first float64
	for i, p := range v.items["packs"] {
		path := "packs." + p.name
		r.order(path+".cells.min", path+".cells.nominal", path+".cells.max")
		series, ok1 := v.leaves[path+".cells.series"]
		cell, ok2 := v.leaves[path+".cells.max"]
		if !ok1 || !ok2 {
			continue
		}
		volts := series.value.Nominal * cell.value.Hi
		switch {
		case volts > highestHighVoltage:
			r.warn(series.place, "these procedures, their gloves and their meters are meant for up to 1000 V",
				"pack %s reaches %s", p.name, showVolts(volts))
		case volts < lowestHighVoltage:
			r.warn(series.place, "below 60 V DC the limits for high voltage do not apply",
				"pack %s reaches only %s", p.name, showVolts(volts))
		}
		if i == 0 {
			first = volts
		} else if first != 0 && volts != first {
			r.warn(series.place, fmt.Sprintf("packs are in parallel; %s reaches %s", v.items["packs"][0].name, showVolts(first)),
				"pack %s reaches %s", p.name, showVolts(volts))
		}
	}
}

func showVolts(volts float64) string {
	return quantity.Value{SI: volts, Dim: quantity.Volt}.String()
}

// contactors checks what contactors say about packs, and that something
// opens each of them.
func (r *reader) contactors() {
	v := r.v
	at, stated := v.sections["shutdown"]
	if devices := v.items["shutdown"]; !stated && len(v.items["contactors"]) > 0 {
		r.warn(v.sections["contactors"], "write shutdown, with a device that opens them",
			"vehicle.yaml has no emergency-off device for these contactors")
	} else if stated {
		for _, c := range v.items["contactors"] {
			if !slices.ContainsFunc(devices, func(d item) bool { return v.opens(d.name, c.name) }) {
				r.fault(c.key, fmt.Sprintf("add %s to the `opens` of a device in shutdown (%s)", c.name, at),
					"no emergency-off device opens contactor %s", c.name)
			}
		}
	}
	poles := map[string][]string{}
	for _, c := range v.items["contactors"] {
		path := "contactors." + c.name
		r.known(path+".pack", "pack", "packs")
		r.order(path+".drop_out", path+".hold_in", path+".pull_in")
		if pack, pole := v.Text(path+".pack"), v.Text(path+".pole"); pack != "" && pole != "" {
			poles[pack] = append(poles[pack], pole)
		}
	}
	for _, p := range v.items["packs"] {
		for _, pole := range []string{"plus", "minus"} {
			if have := poles[p.name]; len(have) > 0 && !slices.Contains(have, pole) {
				r.warn(p.key.At, fmt.Sprintf("write a contactor with `pack: %s, pole: %s`", p.name, pole),
					"pack %s has no contactor in its %s pole", p.name, pole)
			}
		}
	}
}

// fuses checks what fuses say about packs, and that each pack has one.
func (r *reader) fuses() {
	v := r.v
	fused := map[string]bool{}
	for _, f := range v.items["fuses"] {
		path := "fuses." + f.name
		r.known(path+".pack", "pack", "packs")
		r.order(path+".rating", path+".minimum_breaking", path+".breaking_capacity")
		r.order(path+".rating", path+".melting")
		pack := v.packOfFuse(f.name)
		if pack == "" && v.Text(path+".part") == "" {
			hint := v.didYouMean(f.name, "packs")
			if hint == "" {
				hint = "write `pack: NAME`, or `part: NAME` for another circuit"
			}
			r.fault(f.key, hint, "fuse %s does not say what it protects, and no pack is called so", f.name)
		}
		fused[pack] = true
	}
	if _, stated := v.sections["fuses"]; !stated && len(v.items["packs"]) > 0 {
		r.warn(v.sections["packs"], "write fuses, one for each pack", "vehicle.yaml has no fuse for these packs")
		return
	}
	for _, p := range v.items["packs"] {
		if !fused[p.name] {
			r.fault(p.key, fmt.Sprintf("write fuses.%s", p.name), "pack %s has no fuse", p.name)
		}
	}
}

// shutdown checks that devices open contactors that the car has.
func (r *reader) shutdown() {
	v := r.v
	for _, d := range v.items["shutdown"] {
		opens, stated := v.leaves["shutdown."+d.name+".opens"]
		if stated && len(opens.names) == 0 {
			r.fault(opens.at, "leave `opens` out if it opens all contactors", "emergency-off device %s opens nothing", d.name)
		}
		if !stated {
			continue
		}
		for _, c := range opens.names {
			if !v.hasItem("contactors", c.Text) {
				r.fault(c, v.didYouMean(c.Text, "contactors"), "emergency-off device %s opens %q, which is not a contactor of this car", d.name, c.Text)
			}
		}
	}
}

// known checks that a field names an item of the car.
func (r *reader) known(path, what, collection string) {
	l, ok := r.v.leaves[path]
	if ok && !r.v.hasItem(collection, l.at.Text) {
		hint := r.v.didYouMean(l.at.Text, collection)
		if hint == "" {
			hint = fmt.Sprintf("%s of this car: %s", collection, r.v.listed(collection))
		}
		r.fault(l.at, hint, "%s names %s %q, which this car does not have", path, what, l.at.Text)
	}
}

// order checks that fields are in rising order, over their tolerances. What
// the file does not give is passed over.
func (r *reader) order(paths ...string) {
	var below *leaf
	for _, path := range paths {
		l, ok := r.v.leaves[path]
		if !ok {
			continue
		}
		if below != nil && below.value.Hi > l.value.Lo {
			r.fault(l.at, fmt.Sprintf("%s is %s (%s)", below.path, below.at.Text, below.place),
				"%s %s is below %s", path, l.at.Text, below.path)
		}
		below = l
	}
}

func (v *Vehicle) didYouMean(word, collection string) string {
	items, _, _ := v.Collection(collection)
	return diag.DidYouMean(word, items)
}

func (v *Vehicle) listed(collection string) string {
	items, _, _ := v.Collection(collection)
	if len(items) == 0 {
		return "none"
	}
	return strings.Join(items, ", ")
}

// fault reports a fault at something written in the file.
func (r *reader) fault(at yamlfile.Scalar, hint, format string, a ...any) {
	r.problems.Add(r.file.At(at, hint, format, a...))
}

func (r *reader) warn(at diag.Place, hint, format string, a ...any) {
	p := r.file.Problem(at, 1, hint, format, a...)
	p.Severity = diag.Warning
	r.problems.Add(p)
}
