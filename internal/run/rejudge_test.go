package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
)

// A record that claims a pass which its own numbers do not give is refused,
// whoever signed it.
func TestARecordCannotClaimMoreThanItsNumbers(t *testing.T) {
	full := newBench(t, testStart(testPlan()))
	throughToTheEnd(full)
	for _, c := range []struct{ path, field, value, want string }{
		{"dead", "text", "5.204 V", "its value is not its text"},
		{"iso", "text", "0.1 MΩ", "its value is not its text"},
		{"covers", "text", "off", "give fail"},
		{"rest", "waited", "20", "were to be waited"},
	} {
		t.Run(c.path, func(t *testing.T) {
			m := New("abcdefgh-7", testStart(testPlan()))
			for _, r := range full.entries {
				e := r.e
				if e.Path == c.path && (e.Kind == entry.Reading || e.Kind == entry.Statement || e.Kind == entry.Wait) {
					e.Fields = append([]entry.Field(nil), e.Fields...)
					for i := range e.Fields {
						if e.Fields[i].Name == c.field {
							e.Fields[i].Value = c.value
						}
					}
					err := m.Apply(e, r.leaf, r.signer)
					require.Error(t, err)
					assert.Contains(t, err.Error(), c.want)
					return
				}
				require.NoError(t, m.Apply(e, r.leaf, r.signer))
			}
			t.Fatal("the entry was not found")
		})
	}
}

// Value and text changed together: the decision is made again.
func TestALivePoleCannotBeRecordedAsDead(t *testing.T) {
	full := newBench(t, testStart(testPlan()))
	throughToTheEnd(full)
	m := New("abcdefgh-7", testStart(testPlan()))
	for _, r := range full.entries {
		e := r.e
		if e.Path == "dead" && e.Kind == entry.Reading {
			e.Fields = append([]entry.Field(nil), e.Fields...)
			for i, f := range e.Fields {
				switch f.Name {
				case "text":
					e.Fields[i].Value = "362.4 V"
				case "value":
					e.Fields[i].Value = "362.4"
				case "range":
					e.Fields[i].Value = "to 600 V"
				}
			}
			err := m.Apply(e, r.leaf, r.signer)
			require.Error(t, err)
			assert.Contains(t, err.Error(), "its own numbers give fail")
			return
		}
		require.NoError(t, m.Apply(e, r.leaf, r.signer))
	}
}
