package checklists_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/plan"
)

// jointLoss is shown for every joint; its rise is limited.
var jointLoss = regexp.MustCompile(`^others\.cables\.[a-z_]+_(plus|minus)\.loss$`)

// Every reading and every computed value of the built-in procedures is
// judged: a step without a bound passes whatever is read. The exceptions are
// named.
func TestEveryReadingIsJudged(t *testing.T) {
	shown := []string{ // in the design review, not limited
		"discharge.passive", "others.cables.left.resistance", "others.cables.left.loss", "others.cables.right.resistance",
		"others.cables.right.loss", "others.guards.e24", "shared.voltage", "shared.capacity", "shared.energy",
		"packs.left.equalising_time", "packs.right.equalising_time", "precharge.tries.load", "others.isolation.ghost_bare",
		"precharge.tries.interval", "precharge.stuck", "others.isolation.with_monitor", "discharge.stored", "shared.fault", "packs.left.fault", "packs.right.fault", "packs.main.fault",
		"shared.left.capacity_left", "shared.right.capacity_left", "shared.left.energy_left", "shared.right.energy_left",
	}
	for name, f := range cars(t) {
		for _, id := range f.lib.IDs() {
			p := f.plan(t, id)
			for i := range p.Steps {
				s := &p.Steps[i]
				reads := s.Kind == plan.Measure || s.Kind == plan.Time || s.Kind == plan.Compute || s.Kind == plan.Capture
				if reads && s.NotApplicable == "" && !slices.Contains(shown, s.Path) && !jointLoss.MatchString(s.Path) {
					assert.NotEmpty(t, s.Limits(), "%s: %s of %s", name, s.Path, id)
				}
			}
		}
	}
}

// A current through an igniter stays at a tenth of its no-fire current and
// at 10 mA in every step that touches it.
func TestIgniterCurrent(t *testing.T) {
	p := cars(t)["sandpiper"].plan(t, "pyro_circuit")
	n := 0
	for i := range p.Steps {
		if s := &p.Steps[i]; s.Role == "squib_meter" {
			n++
			assert.Equal(t, 0.010, s.MaxTestCurrent, s.Path)
		}
	}
	assert.Equal(t, 5, n)
}

func TestLiveWorkIsHeld(t *testing.T) {
	f := cars(t)["sandpiper"]
	for _, id := range f.lib.IDs() {
		p := f.plan(t, id)
		if !p.Live {
			continue
		}
		held := false
		for i := range p.Steps {
			s := &p.Steps[i]
			held = held || s.Kind == plan.Hold
			touches := (s.Kind == plan.Measure || s.Kind == plan.Time) && s.LeadCheck == "" && !strings.HasPrefix(s.Path, "dead.")
			if touches && !held {
				assert.Contains(t, []string{"test_resistor", "hold_resistor"}, s.Path, "%s before the hold of %s", s.Path, id)
			}
		}
		assert.True(t, held, id)
		assert.GreaterOrEqual(t, p.People, 3, id)
		assert.Less(t, p.SignOut, len(p.Steps), id)
	}
}

// One sentence that can be read aloud, and no word that promises safety.
func TestWording(t *testing.T) {
	f := cars(t)["sandpiper"]
	for _, id := range f.lib.IDs() {
		p := f.plan(t, id)
		for i := range p.Steps {
			s := &p.Steps[i]
			assert.LessOrEqual(t, len(strings.Fields(s.Text)), 22, "%s of %s: %s", s.Path, id, s.Text)
			for _, word := range append([]string{s.Text, s.Expect}, s.Choices...) {
				assert.NotRegexp(t, `(?i)\bsafe(ly)?\b`, word, "%s of %s", s.Path, id)
			}
		}
	}
}
