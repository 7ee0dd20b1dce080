package deskcheck

import (
	"fmt"
	"math"
	"slices"

	"hvproof/internal/hv"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// fewPacks is why nothing is shared or lost in a car.
const fewPacks = "the car has fewer than two packs, nothing is shared"

// packs are the parallel packs of a car: their resistances over the
// tolerances.
type packs struct {
	names      []string
	resistance string // which one of theirs; "" where nothing is shared
	ohms       []quantity.Range
	put        []plan.Input
}

// packsOf reads them; absent says what is missing.
func packsOf(car *vehicle.Vehicle) (p packs, absent string) {
	return packsWith(car, "total_resistance")
}

// packsWith takes a resistance of them by its name.
func packsWith(car *vehicle.Vehicle, resistance string) (p packs, absent string) {
	p.names = packNames(car)
	if len(p.names) < 2 {
		return p, fewPacks
	}
	p.resistance = resistance
	for _, name := range p.names {
		r, err := number(car, "packs."+name+"."+resistance)
		if err != nil {
			return p, err.Error()
		}
		p.add("packs."+name+"."+resistance, r)
		p.ohms = append(p.ohms, r)
	}
	return p, ""
}

func (p *packs) add(name string, r quantity.Range) {
	p.put = append(p.put, plan.Input{Name: name, Lo: r.Lo, Hi: r.Hi, Dim: r.Dim})
}

// corner gives resistances at which pack i carries most (sign +1) or least
// (−1) of a total: its own at one end, all others at the other; 0 is nominal.
// Without pack lost, if that is not negative.
func (p packs) corner(i, lost, sign int) (ohms []float64, at int) {
	for k, r := range p.ohms {
		if k == lost {
			continue
		}
		x := r.Nominal
		if sign != 0 {
			if (k == i) == (sign > 0) {
				x = r.Lo
			} else {
				x = r.Hi
			}
		}
		if k == i {
			at = len(ohms)
		}
		ohms = append(ohms, x)
	}
	return ohms, at
}

// most gives by name the ends at which pack i carries most of a total, nil where
// it carries it alone.
func (p packs) most(i, lost int) map[string]float64 {
	at := map[string]float64{}
	for k, r := range p.ohms {
		switch name := "packs." + p.names[k] + "." + p.resistance; {
		case k == i:
			at[name] = r.Lo
		case k != lost:
			at[name] = r.Hi
		}
	}
	if len(at) < 2 {
		return nil
	}
	return at
}

// share gives pack i's part of the total at a corner.
func (p packs) share(i, lost, sign int) float64 {
	return hv.Part(p.corner(i, lost, sign))
}

// A limit is what something in the current of one pack may carry.
type limit struct {
	pack int
	amps quantity.Range
	what string
}

// first gives the smallest total over the limits at a corner, and which it is:
// the lowest total with every pack taking most of the current, and so on.
func (p packs) first(limits []limit, lost, sign int) (total float64, which limit) {
	total = math.Inf(1)
	for _, l := range limits {
		if l.pack == lost {
			continue
		}
		amps := l.amps.Nominal
		if sign > 0 {
			amps = l.amps.Lo
		} else if sign < 0 {
			amps = l.amps.Hi
		}
		if t := amps / p.share(l.pack, lost, sign); t < total {
			total, which = t, l
		}
	}
	return total, which
}

// over fills a value with the first limit over every pack that may be lost.
func (p packs) over(v Value, limits []limit, lost []int) Value {
	ends := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	for _, k := range lost {
		for i, sign := range []int{+1, 0, -1} {
			t, which := p.first(limits, k, sign)
			if t < ends[i] {
				ends[i] = t
				if i == 0 {
					v.Note, v.LowAt = "first reached: "+which.what, p.most(which.pack, k)
					if k >= 0 {
						v.Note += ", pack " + p.names[k] + " lost"
					}
				}
			}
		}
	}
	if math.IsInf(ends[0], 1) {
		v.Absent = "no limit of a pack, fuse, contactor or cable is given"
		return v
	}
	v.Lo, v.Nominal, v.Hi = ends[0], ends[1], ends[2]
	v.Inputs = p.put
	return v
}

// peaks gives the packs' own limits.
func (p *packs) peaks(car *vehicle.Vehicle) (limits []limit, absent string) {
	for i, name := range p.names {
		path := "packs." + name + ".peak_current"
		r, err := number(car, path)
		if err != nil {
			return nil, err.Error()
		}
		p.add(path, r)
		limits = append(limits, limit{i, r, "pack " + name})
	}
	return limits, ""
}

func peakLimit(v Value, car *vehicle.Vehicle, _ string) Value {
	p, absent := packsOf(car)
	limits, missing := p.peaks(car)
	if v.Absent = first(absent, missing); v.Absent != "" {
		return v
	}
	return p.over(v, limits, []int{-1})
}

func coldLimit(v Value, car *vehicle.Vehicle, _ string) Value {
	p, absent := packsWith(car, "cold_resistance")
	limits, missing := p.peaks(car)
	if v.Absent = first(absent, missing); v.Absent != "" {
		return v
	}
	return p.over(v, limits, []int{-1})
}

func lossLimit(v Value, car *vehicle.Vehicle, _ string) Value {
	p, absent := packsOf(car)
	limits, missing := p.peaks(car)
	if v.Absent = first(absent, missing); v.Absent != "" {
		return v
	}
	var lost []int
	for k := range p.names {
		lost = append(lost, k)
	}
	return p.over(v, limits, lost)
}

// continuousLimit counts what carries a pack's current for minutes. If one of
// them does not say how much, there is no value: it might be the weakest.
func continuousLimit(v Value, car *vehicle.Vehicle, _ string) Value {
	p, absent := packsOf(car)
	if absent == fewPacks && len(p.names) == 1 {
		absent = ""
		p.ohms = []quantity.Range{{Lo: 1, Nominal: 1, Hi: 1, Dim: quantity.Ohm}}
	}
	if v.Absent = absent; absent != "" {
		return v
	}
	var limits []limit
	for _, of := range []struct{ collection, field, what string }{
		{"fuses", "rating", "fuse"}, {"contactors", "continuous_current", "contactor"}, {"cables", "current", "cable"},
	} {
		items, _, _ := car.Collection(of.collection)
		for _, item := range items {
			pack, ok := car.PackOf(of.collection, item)
			if !ok {
				continue
			}
			path := of.collection + "." + item + "." + of.field
			r, err := number(car, path)
			if err != nil {
				v.Absent = err.Error()
				return v
			}
			p.add(path, r)
			limits = append(limits, limit{slices.Index(p.names, pack), r, of.what + " " + item})
		}
	}
	return p.over(v, limits, []int{-1})
}

func first(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// currentAfterLoss is the worst of all cases: each other pack lost in turn.
func currentAfterLoss(v Value, car *vehicle.Vehicle, item string) Value {
	p, absent := packsOf(car)
	name := "drive.after_pack_lost"
	if _, _, ok := car.Value(name); !ok {
		name = "drive.demand"
	}
	demand, err := number(car, name)
	if v.Absent = absent; v.Absent == "" && err != nil {
		v.Absent = err.Error()
	}
	if v.Absent != "" {
		return v
	}
	p.add(name, demand)
	i := slices.Index(p.names, item)
	v.Lo, v.Nominal, v.Hi = math.Inf(1), 0, 0
	for k := range p.names {
		if k == i {
			continue
		}
		v.Lo = math.Min(v.Lo, demand.Lo*p.share(i, k, -1))
		v.Nominal = math.Max(v.Nominal, demand.Nominal*p.share(i, k, 0))
		if worst := demand.Hi * p.share(i, k, +1); worst > v.Hi {
			v.Hi, v.Note, v.HighAt = worst, fmt.Sprintf("pack %s lost", p.names[k]), p.most(i, k)
		}
	}
	v.Inputs = p.put
	return v
}

// equalisingTime joins the pack as the fuller one to all others. Lower
// resistances make it shorter, more charge for each volt longer.
func equalisingTime(v Value, car *vehicle.Vehicle, item string) Value {
	g := gather{car: car}
	names := packNames(car)
	if len(names) < 2 {
		v.Absent = fewPacks
		return v
	}
	difference := g.take("parallel.join_difference", true)
	var ohms, farads []int
	for _, name := range names {
		ohms = append(ohms, g.take("packs."+name+".total_resistance", true))
		farads = append(farads, g.take("packs."+name+".charge_per_volt", true))
	}
	return g.evaluate(v, func(x []float64) float64 {
		stores := make([]hv.Store, len(names))
		for k, name := range names {
			stores[k] = hv.Store{Source: hv.Source{Ohms: x[ohms[k]]}, Farads: x[farads[k]]}
			if name == item {
				stores[k].Volts = x[difference]
			}
		}
		_, seconds := hv.Equalise(stores, 0.1)
		return seconds
	})
}
