package ledger_test

import (
	"testing"

	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

func TestMemory(t *testing.T) {
	ledgertest.TestStorage(t, func(*testing.T) ledger.Storage { return ledgertest.NewMemory() })
}
