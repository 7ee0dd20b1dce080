package formula

import (
	"testing"

	"hvproof/internal/diag"
)

var benchmarks = []struct{ name, formula string }{
	{"exact", "(system.conductively_connected_ac ? 500 Ω/V : 100 Ω/V) * system.max_voltage"},
	{"product", "precharge.resistance * dc_link.capacitance"},
	{"share", "packs.right.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)"},
	{"coil", "low_voltage.min / (1 + shutdown_chain.resistance * (1 / contactors.left_plus.coil + 1 / contactors.left_minus.coil + 1 / contactors.right_plus.coil + 1 / contactors.right_minus.coil + 1 / precharge.coil))"},
	{"outer", "abs(packs.left.path - packs.right.path + 1.5 mΩ)"},
}

func BenchmarkCompile(b *testing.B) {
	env := sandpiperEnv(b)
	for _, x := range benchmarks {
		b.Run(x.name, func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				if f, _ := Compile(x.formula, diag.Place{}, "", env, Want{Any: true}); f == nil {
					b.Fatal("does not compile")
				}
			}
		})
	}
}

func BenchmarkEval(b *testing.B) {
	env := sandpiperEnv(b)
	for _, x := range benchmarks {
		f := compile(b, env, x.formula)
		b.Run(x.name, func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				if _, err := f.Eval(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
