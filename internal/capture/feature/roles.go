package feature

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"hvproof/internal/capture"
	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// The roles that channels can have. A current of one pack is "current.NAME",
// one of several contactors "main_contactor.NAME".
const (
	RoleLink    = "dc_link"
	RolePack    = "pack"
	RoleMain    = "main_contactor"
	RoleRelay   = "precharge_relay"
	RoleTrip    = "trip"
	RoleCoil    = "coil"
	RoleCurrent = "current"
)

// Roles lists the roles, in alphabetical order.
func Roles() []string { return sortedKeys(words) }

// A Role says which channel is which, and how that is known.
type Role struct {
	Role    string
	Channel string // the channel's name
	Index   int    // in Waveform.Channels
	From    string // "given", "name", "unit" or "only channel"
}

// String is "dc_link: CH1 (name)".
func (r Role) String() string { return fmt.Sprintf("%s: %s (%s)", r.Role, r.Channel, r.From) }

// wanted lists the roles that a kind looks at; the first is needed.
var wanted = map[string][]string{
	KindPrecharge:    {RoleLink, RolePack, RoleMain, RoleRelay, RoleCurrent, RoleCoil},
	KindDischarge:    {RoleLink, RolePack, RoleMain, RoleTrip, RoleCurrent, RoleCoil},
	KindEmergencyOff: {RoleLink, RoleTrip, RoleCoil, RoleMain, RoleCurrent, RolePack},
	KindSharing:      {RoleCurrent},
	KindCoil:         {RoleCurrent, RoleCoil},
}

// words are what names of columns say: whole words, or parts of words of at
// least four letters.
var words = map[string][]string{
	RoleLink:    {"dc_link", "dclink", "link", "ubus", "bus", "dc", "udc", "vdc", "inverter", "ulink", "vlink"},
	RolePack:    {"pack", "battery", "batt", "bat", "accumulator", "ubat", "vbat", "upack", "vpack"},
	RoleMain:    {"main_contactor", "main", "contactor", "aux", "airplus", "air"},
	RoleRelay:   {"precharge_relay", "precharge", "pre", "relay"},
	RoleTrip:    {"trip", "estop", "stop", "button", "emergency", "shutdown"},
	RoleCoil:    {"coil", "icoil", "ucoil"},
	RoleCurrent: {"current", "amps", "clamp", "shunt", "ipack", "ibat", "ihv"},
}

// assign finds out which channel is which.
func assign(w *capture.Waveform, r Request) (roles []Role, notes []string, err error) {
	taken := map[int]bool{}
	for _, role := range sortedKeys(r.Channels) {
		base, _, _ := strings.Cut(role, ".")
		if _, ok := words[base]; !ok {
			near, _ := diag.Nearest(base, Roles())
			return nil, nil, diag.Bad("one of "+list(Roles())+didYouMean(near), "%q is not a role of a channel", role)
		}
		i, err := channel(w, r.Channels[role])
		if err != nil {
			return nil, nil, err
		}
		if taken[i] {
			return nil, nil, diag.Bad("give each role a column of its own", "column %s has two roles", w.Channels[i].Name)
		}
		taken[i] = true
		roles = append(roles, Role{role, w.Channels[i].Name, i, "given"})
	}
	have := func(role string) bool {
		return slices.ContainsFunc(roles, func(x Role) bool { return x.Role == role })
	}
	found := map[string][]int{}
	for i := range w.Channels {
		if !taken[i] {
			if role := guess(&w.Channels[i], r); role != "" && !have(role) {
				found[role] = append(found[role], i)
			}
		}
	}
	for _, role := range sortedKeys(found) {
		many := found[role]
		if several := items(w, role, many); r.Kind == KindEmergencyOff && len(many) > 1 && len(several) == len(many) {
			for k, i := range many {
				taken[i] = true
				roles = append(roles, Role{several[k], w.Channels[i].Name, i, "name"})
			}
			continue
		}
		if len(many) > 1 {
			return nil, nil, diag.Bad(fmt.Sprintf("say which: --channel %s=%s", role, w.Channels[many[0]].Name),
				"%s could be %s", role, list(names(w, many)))
		}
		i := found[role][0]
		taken[i] = true
		roles = append(roles, Role{role, w.Channels[i].Name, i, "name"})
	}
	roles, notes, err = needed(w, r, roles, taken)
	slices.SortStableFunc(roles, func(a, b Role) int { return a.Index - b.Index })
	return roles, notes, err
}

// items gives the roles of several channels that say which one each is of:
// main_contactor_left_plus is main_contactor.left_plus. A name in a vehicle
// file has no points.
func items(w *capture.Waveform, role string, of []int) []string {
	var out []string
	for _, i := range of {
		if rest, ok := strings.CutPrefix(strings.ToLower(w.Channels[i].Name), role+"_"); ok && rest != "" {
			out = append(out, role+"."+rest)
		}
	}
	return out
}

// needed sees to it that the first role of a kind is there: the only channel
// that can have it, or an error that asks.
func needed(w *capture.Waveform, r Request, roles []Role, taken map[int]bool) ([]Role, []string, error) {
	first := wanted[r.Kind][0]
	isFirst := func(x Role) bool { return x.Role == first || strings.HasPrefix(x.Role, first+".") }
	switch r.Kind {
	case KindCoil:
		isFirst = func(x Role) bool { return x.Role == RoleCurrent || x.Role == RoleCoil }
	case KindEmergencyOff: // without voltage, the contacts are what opens
		isFirst = func(x Role) bool { return x.Role == RoleLink || baseRole(x.Role) == RoleMain }
	}
	var free []int
	for i := range w.Channels {
		if !taken[i] && fits(first, w.Channels[i].Dim) {
			free = append(free, i)
		}
	}
	var notes []string
	switch {
	case slices.ContainsFunc(roles, isFirst):
	case len(free) == 1 && r.Kind != KindSharing:
		i := free[0]
		taken[i] = true
		roles = append(roles, Role{first, w.Channels[i].Name, i, "only channel"})
		notes = append(notes, fmt.Sprintf("%s is taken as %s: no other column can be it.", w.Channels[i].Name, first))
	default:
		hint := "say which column it is: --channel " + first + "=COLUMN"
		if len(free) > 0 {
			hint = "say which column it is: --channel " + first + "=" + w.Channels[free[0]].Name
		}
		return nil, nil, diag.Bad(hint, "no column is known to be %s; the columns are %s", first, list(names(w, nil)))
	}
	if r.Kind == KindSharing && len(roles) < 2 {
		return nil, nil, diag.Bad("give both: --channel current.left=COLUMN --channel current.right=COLUMN",
			"sharing needs the currents of at least two packs; the columns are %s", list(names(w, nil)))
	}
	for i := range w.Channels {
		if !taken[i] {
			notes = append(notes, fmt.Sprintf("Column %s was not looked at.", w.Channels[i].Name))
		}
	}
	return roles, notes, nil
}

// guess gives the one role that a channel's name and unit speak for.
func guess(c *capture.Channel, r Request) string {
	name := plain(c.Name)
	if base, rest, ok := strings.Cut(strings.ToLower(c.Name), "."); ok && slices.Contains(wanted[r.Kind], base) && rest != "" {
		return base + "." + rest
	}
	if r.Kind == KindSharing {
		return sharingRole(c, name, r)
	}
	tokens := strings.Fields(name)
	var hits []string
	for _, role := range wanted[r.Kind] {
		if fits(role, c.Dim) && says(tokens, name, words[role]) {
			hits = append(hits, role)
		}
	}
	// A part of another's name: "precharge relay" is not the main contactor,
	// "main contactor coil" is a coil.
	for _, role := range []string{RoleCoil, RoleRelay, RoleMain} {
		if slices.Contains(hits, role) {
			return role
		}
	}
	if c.Dim == quantity.Ampere && len(hits) > 0 && slices.Contains(hits, RoleCurrent) {
		return RoleCurrent
	}
	if len(hits) == 1 {
		return hits[0]
	}
	if len(hits) == 0 && c.Dim == quantity.Ampere && slices.Contains(wanted[r.Kind], RoleCurrent) {
		return RoleCurrent
	}
	return ""
}

// sharingRole names the pack whose current a column is.
func sharingRole(c *capture.Channel, name string, r Request) string {
	if c.Dim != quantity.Ampere && c.Dim != quantity.One {
		return ""
	}
	if r.Car != nil {
		for _, p := range r.Car.Packs {
			if slices.Contains(strings.Fields(name), p) || strings.Contains(strings.ReplaceAll(name, " ", "_"), p) {
				return RoleCurrent + "." + p
			}
		}
	}
	var rest []string
	for _, t := range strings.Fields(name) {
		if !slices.Contains([]string{"i", "current", "pack", "amps", "clamp", "a", "of"}, t) {
			rest = append(rest, t)
		}
	}
	if c.Dim == quantity.Ampere && len(rest) > 0 {
		return RoleCurrent + "." + strings.Join(rest, "_")
	}
	return ""
}

// fits reports whether a channel of a dimension can have a role. Dimension
// One is a channel without unit.
func fits(role string, d quantity.Dim) bool {
	base, _, _ := strings.Cut(role, ".")
	switch base {
	case RoleLink, RolePack:
		return d == quantity.Volt || d == quantity.One
	case RoleCurrent:
		return d == quantity.Ampere || d == quantity.One
	}
	return true
}

func says(tokens []string, name string, of []string) bool {
	for _, w := range of {
		if slices.Contains(tokens, w) || (len(w) >= 4 && strings.Contains(strings.ReplaceAll(name, " ", "_"), w)) {
			return true
		}
	}
	return false
}

// plain gives a name in lower case, its words parted by blanks.
func plain(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}), " ")
}

// channel finds a channel by its name, or by its number from 1.
func channel(w *capture.Waveform, name string) (int, error) {
	for _, same := range []func(a, b string) bool{
		func(a, b string) bool { return a == b },
		func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) },
		func(a, b string) bool { return plain(a) == plain(b) && plain(a) != "" },
	} {
		at := -1
		for i := range w.Channels {
			if same(w.Channels[i].Name, name) {
				if at >= 0 {
					return 0, diag.Bad("rename the columns in a copy of the file", "two columns are called %q", name)
				}
				at = i
			}
		}
		if at >= 0 {
			return at, nil
		}
	}
	near, _ := diag.Nearest(name, names(w, nil))
	return 0, diag.Bad("the columns are "+list(names(w, nil))+didYouMean(near), "there is no column %q", name)
}

// names gives the names of some channels, nil for all.
func names(w *capture.Waveform, of []int) []string {
	var out []string
	for i := range w.Channels {
		if of == nil || slices.Contains(of, i) {
			out = append(out, w.Channels[i].Name)
		}
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
