package audit

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
)

// TestBaselineOfOnePerson: a looser baseline that nobody else stands behind is
// not compared with. That its own signer cannot is the ledger's to see to.
func TestBaselineOfOnePerson(t *testing.T) {
	b := newBench(t)
	b.passed(small(), meter())
	loose := small()
	loose.People = 1
	m := b.passed(loose, meter())
	b.add(body(entry.Baseline, nil, "", "run 1", m.ID()), ledgertest.Mills)
	later := b.passed(loose, meter())
	remarks := b.remarks()
	assert.Equal(t, []string{"baseline-not-countersigned", "fewer-people"}, codes(remarks))
	assert.Equal(t, later.Index(), remarks[len(remarks)-1].Entry, "the later run is held against the first one still")
}

// TestBaselineTakesTheWholeRun: of two named runs of a procedure the whole one
// is compared with, not the retest, whatever their order.
func TestBaselineTakesTheWholeRun(t *testing.T) {
	b := newBench(t)
	looped := small()
	looped.Steps[1].Items, looped.Steps[2].Items = []string{"left"}, []string{"right"}
	whole := b.passed(looped, meter())
	cut, err := looped.Restrict([]string{"right"})
	require.NoError(t, err)
	require.NotEmpty(t, cut.Retest)
	retest := b.passed(cut, meter())
	for _, ids := range [][]string{{whole.ID(), retest.ID()}, {retest.ID(), whole.ID()}} {
		assert.Equal(t, whole, inForce(b.history, ids)[small().Procedure], "%v", ids)
	}
	assert.Equal(t, retest.ID(), inForce(b.history, []string{retest.ID()})[small().Procedure].ID())
}
