package bay

import (
	"hash/fnv"
	"slices"
	"strings"

	"hvproof/internal/plan"
)

type stateChoice struct {
	Name, Label string
	Values      []string
}

// stateChoices gives for each state the values that the plan knows of it, and
// one for anything else. Their order is fixed by their letters, not by what
// is wanted, and what is wanted never stands first.
func stateChoices(p *plan.Plan, want []plan.State) []stateChoice {
	var out []stateChoice
	for _, w := range want {
		c := stateChoice{Name: w.Name, Label: strings.ReplaceAll(w.Name, "_", " "), Values: []string{w.Value}}
		for i := range p.Steps {
			for _, st := range p.Steps[i].State {
				if st.Name == w.Name && !slices.Contains(c.Values, st.Value) {
					c.Values = append(c.Values, st.Value)
				}
			}
		}
		c.Values = append(c.Values, opposites(c.Values)...)
		slices.SortFunc(c.Values, func(a, b string) int { return int(scatter(w.Name+a)) - int(scatter(w.Name+b)) })
		if c.Values[0] == w.Value && len(c.Values) > 1 {
			c.Values = append(c.Values[1:], w.Value)
		}
		out = append(out, c)
	}
	return out
}

func scatter(text string) uint16 {
	h := fnv.New32a()
	h.Write([]byte(text))
	return uint16(h.Sum32())
}

// opposites gives the other word of a known pair, so that a state that the
// plan knows one value of still is a question.
func opposites(values []string) []string {
	var out []string
	for _, pair := range [][2]string{{"open", "closed"}, {"in", "out"}, {"on", "off"}, {"disabled", "enabled"},
		{"connected", "disconnected"}, {"plugged", "unplugged"}, {"fitted", "removed"}, {"up", "down"}} {
		for i, word := range pair {
			other := pair[1-i]
			if slices.Contains(values, word) && !slices.Contains(values, other) && !slices.Contains(out, other) {
				out = append(out, other)
			}
		}
	}
	return out
}
