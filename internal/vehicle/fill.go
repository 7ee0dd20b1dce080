package vehicle

import (
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/hv"
)

// fill puts names for the words in capitals of a formula, or says why there
// are none.
func (v *Vehicle) fill(src, collection, item string) (filled, absent string) {
	for _, word := range fillings {
		if !strings.Contains(src, word.name) {
			continue
		}
		text, absent := word.fill(v, collection, item)
		if absent != "" {
			return "", absent
		}
		src = strings.ReplaceAll(src, word.name, text)
	}
	return src, ""
}

// fillings are the words in capitals: what stands for them, or why nothing
// does.
var fillings = []struct {
	name string
	fill func(v *Vehicle, collection, item string) (text, absent string)
}{
	{"OTHERPACK ", func(v *Vehicle, _, item string) (string, string) {
		if item == v.prechargeFrom() {
			return "", "this pack pre-charges the DC link itself"
		}
		return "", v.needsFrom()
	}},
	{"OTHERS", func(v *Vehicle, _, item string) (string, string) { return v.others(item, "total_resistance") }},
	{"COLD", func(v *Vehicle, _, item string) (string, string) { return v.others(item, "cold_resistance") }},
	{"SHARE", func(v *Vehicle, _, _ string) (string, string) {
		if len(v.items["packs"]) == 1 {
			return "1", ""
		}
		return "item.share", ""
	}},
	{"FROM", func(v *Vehicle, _, _ string) (string, string) { return "packs." + v.prechargeFrom(), v.needsFrom() }},
	{"PACK", func(v *Vehicle, collection, item string) (string, string) {
		pack := v.packOf(collection, item)
		if pack == "" {
			return "", fmt.Sprintf("%s.%s does not say whose pack's current it carries", collection, item)
		}
		return "packs." + pack, ""
	}},
	{"FUSE", func(v *Vehicle, collection, item string) (string, string) {
		pack := v.packOf(collection, item)
		for _, f := range v.items["fuses"] {
			if pack != "" && v.packOfFuse(f.name) == pack {
				return "fuses." + f.name, ""
			}
		}
		return "", fmt.Sprintf("no fuse is known to protect %s.%s", collection, item)
	}},
	{"GUARDS", func(v *Vehicle, _, item string) (string, string) {
		n := 0
		for _, f := range v.items["fuses"] {
			if v.packOfFuse(f.name) == item {
				n++
			}
		}
		return strconv.Itoa(n), ""
	}},
	{"POLES", func(v *Vehicle, _, item string) (string, string) {
		poles := map[string]bool{}
		for _, c := range v.items["contactors"] {
			if pole := v.Text("contactors." + c.name + ".pole"); pole != "" && v.packOf("contactors", c.name) == item {
				poles[pole] = true
			}
		}
		return strconv.Itoa(len(poles)), ""
	}},
	{"COPPER", func(v *Vehicle, collection, item string) (string, string) {
		if collection == "" {
			return v.copper("bonding.strap_section")
		}
		return v.copper(collection + "." + item + ".section")
	}},
	{"WIRE", func(v *Vehicle, collection, item string) (string, string) {
		path := collection + "." + item
		if v.leaves[path+".wire_length"] == nil && v.leaves[path+".wire_section"] == nil {
			return "item.wire", ""
		}
		perMetre, absent := v.copper(path + ".wire_section")
		return "item.wire_length * " + perMetre + " * (item.wire_temperature - 43.15 K) / 250 K", absent
	}},
	{"CONNECTORS", func(v *Vehicle, _, _ string) (string, string) {
		text := ""
		for _, d := range v.items["shutdown"] {
			if path := "shutdown." + d.name + ".connector"; v.leaves[path] != nil {
				text += " + " + path
			}
		}
		return text, ""
	}},
}

// copper gives the largest resistance of a metre of copper of a section.
func (v *Vehicle) copper(section string) (perMetre, absent string) {
	l := v.leaves[section]
	if l == nil {
		f, _ := fieldOf(section)
		return "", fmt.Sprintf("write %s in vehicle.yaml, %s", section, f.wanted())
	}
	ohms, err := hv.CableResistance(l.value.Nominal, 1)
	if err != nil {
		return "", section + ": " + err.Error()
	}
	return fmt.Sprintf("(%.4g mΩ / 1 m)", 1e3*ohms), ""
}

// others names a value of all packs but one.
func (v *Vehicle) others(item, value string) (text, absent string) {
	var names []string
	for _, p := range v.items["packs"] {
		if p.name != item {
			names = append(names, "packs."+p.name+"."+value)
		}
	}
	if len(v.items["packs"]) < 2 {
		return "", "the car has fewer than two packs, nothing is shared"
	}
	return strings.Join(names, ", "), ""
}

func (v *Vehicle) needsFrom() (absent string) {
	if v.prechargeFrom() == "" {
		return "write precharge.from in vehicle.yaml, the name of a pack"
	}
	return ""
}
