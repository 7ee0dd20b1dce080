package procedure

import (
	"slices"
	"strings"

	"hvproof/internal/diag"
)

// Order gives all procedures in an order in which they can be done when
// nothing is proved yet: by stage, then by prerequisites, then by file. The
// problems say which cannot be reached, and the circle that is in the way;
// those are not in the order. A prerequisite that nothing proves does not
// count here.
func (l *Library) Order() ([]string, diag.List) {
	var order []string
	done := map[*Procedure]bool{}
	for {
		var next *Procedure
		for _, p := range l.procedures {
			if !done[p] && l.blocker(p, done) == nil && (next == nil || p.Stage < next.Stage) {
				next = p
			}
		}
		if next == nil {
			break
		}
		done[next] = true
		order = append(order, next.ID)
	}
	var problems diag.List
	told := map[*Procedure]bool{}
	for _, p := range l.procedures {
		if !done[p] && !told[p] {
			l.circle(p, done, told, &problems)
		}
	}
	return order, problems
}

// blocker gives the procedure that must come before p and has not, or nil.
// Of several procedures that prove the same, one is enough.
func (l *Library) blocker(p *Procedure, done map[*Procedure]bool) *Procedure {
	for _, need := range p.Prerequisites() {
		provers := l.Prover(need)
		if len(provers) > 0 && !slices.ContainsFunc(provers, func(q *Procedure) bool { return done[q] }) {
			return provers[0]
		}
	}
	return nil
}

// circle follows what is in the way of p. It ends in a circle, since
// whatever is not done is blocked by something that is not done either.
func (l *Library) circle(p *Procedure, done, told map[*Procedure]bool, problems *diag.List) {
	var way []*Procedure
	for q := p; ; q = l.blocker(q, done) {
		if i := slices.Index(way, q); i >= 0 {
			names := append(ids(way[i:]), q.ID)
			if !told[q] {
				at := q.w.Prerequisites[0]
				q.errorf(problems, at, "take one of the prerequisites out",
					"no order from everything missing, a circle of prerequisites: %s", strings.Join(names, " needs "))
			}
			for _, c := range way[i:] {
				told[c] = true
			}
			break
		}
		way = append(way, q)
	}
	if !told[p] {
		told[p] = true
		p.errorf(problems, p.w.Prerequisites[0], "", "it can never be done: it waits for %s", strings.Join(ids(way[1:]), ", "))
	}
}
