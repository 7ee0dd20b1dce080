package audit

import (
	"math"
	"reflect"
	"slices"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// A meterSeen is an instrument as an earlier run had it.
type meterSeen struct {
	measure.Instrument
	run, date string
}

// metersOf holds the dates and data of a run's instruments against those of
// the run before that had them.
func (a *Audit) metersOf(m *run.Machine) {
	date := m.Start().Date
	for _, now := range m.Start().Meters {
		if now.CalibratedOn > date {
			a.remark(m.Index(), "calibration-ahead", "%s: %s is said to have been calibrated on %s, after the run", named(m), now.ID, now.CalibratedOn)
		}
		then, ok := a.meters[now.ID]
		a.meters[now.ID] = meterSeen{now, m.ID(), date}
		switch {
		case !ok:
		case then.Serial != now.Serial:
			a.remark(m.Index(), "meter-replaced", "%s: %s has the serial number %s, and had %s in run %s",
				named(m), now.ID, orNothing(now.Serial), orNothing(then.Serial), then.run)
		default:
			a.sameMeter(m, then, now)
		}
	}
}

// sameMeter compares one instrument with itself. A new date is a new
// calibration if it is later than the last run that knew of none.
func (a *Audit) sameMeter(m *run.Machine, then meterSeen, now measure.Instrument) {
	if (then.CalibratedOn != now.CalibratedOn || then.CalibratedUntil != now.CalibratedUntil) &&
		(now.CalibratedOn <= then.CalibratedOn || now.CalibratedOn < then.date) {
		a.remark(m.Index(), "calibration-edited", "%s: %s is calibrated on %s until %s; run %s on %s had on %s until %s", named(m), now.ID,
			orNothing(now.CalibratedOn), orNothing(now.CalibratedUntil), then.run, then.date, orNothing(then.CalibratedOn), orNothing(then.CalibratedUntil))
	}
	if then.Category != now.Category || then.MaxVoltage != now.MaxVoltage || !reflect.DeepEqual(then.Functions, now.Functions) {
		a.remark(m.Index(), "meter-edited", "%s: the data of %s (category, highest voltage, ranges, accuracy) are not those of run %s", named(m), now.ID, then.run)
	}
}

// inCalibration remarks on a reading with an instrument that was not in
// calibration that day, once for each run and instrument.
func (a *Audit) inCalibration(m *run.Machine, e entry.Entry) {
	taken := run.Instruments(e.Body)
	day := local(e, e.Time).Format(time.DateOnly)
	for _, in := range m.Start().Meters {
		id := in.ID
		key := [2]string{m.ID(), id}
		if !slices.Contains(taken, id) || in.CalibratedUntil >= day || a.lapsed[key] {
			continue
		}
		a.lapsed[key] = true
		if in.CalibratedUntil == "" {
			a.remark(e.Index, "calibration-lapsed", "run %s, %s: no calibration of %s is stated", m.ID(), e.Path, id)
		} else {
			a.remark(e.Index, "calibration-lapsed", "run %s, %s: read on %s with %s, whose calibration ended on %s", m.ID(), e.Path, day, id, in.CalibratedUntil)
		}
	}
}

// compareMeters looks for a function that claims less uncertainty at a limit
// than the one that took the same reading at the baseline.
func (c *comparison) compareMeters() {
	then, now := c.base.Start(), c.now.Start()
	said := map[string]bool{}
	for i := range c.then.Steps {
		s := &c.then.Steps[i]
		j, ok := c.today.Step(s.Path)
		if !ok || s.Dim != c.today.Steps[j].Dim {
			continue
		}
		oldMeter, old := then.Meter(s)
		newMeter, new := now.Meter(&c.today.Steps[j])
		if old == nil || new == nil {
			continue
		}
		for _, at := range ends(s) {
			was, is := claimed(old, at), claimed(new, at)
			key := newMeter.ID + " " + new.Name
			if is < was*(1-1e-9) && !said[key] {
				said[key] = true
				c.remark("better-meter", "%s: %s of %s claims ± %s at %s, and %s claimed ± %s", s.Path, new.Name, newMeter.ID,
					quantity.Value{SI: is, Dim: s.Dim}, quantity.Value{SI: at, Dim: s.Dim}, oldMeter.ID, quantity.Value{SI: was, Dim: s.Dim})
			}
		}
	}
}

// claimed gives the uncertainty that a function states for a value; infinite
// where it cannot show it.
func claimed(f *measure.Function, at float64) float64 {
	for _, r := range f.Ranges { // they ascend
		if math.Abs(at) <= r.To {
			return r.U(at)
		}
	}
	return math.Inf(1)
}
