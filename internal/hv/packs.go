package hv

// PacksInParallel gives the currents, A, of two packs that feed a load
// together, and the voltage of the bus, V: Kirchhoff's laws for open-circuit
// voltages v1 and v2 behind resistances r1 and r2. Without load, i1 is the
// current that equalises them.
func PacksInParallel(v1, r1, v2, r2, load float64) (i1, i2, bus float64) {
	i1 = (v1 - v2 + load*r2) / (r1 + r2)
	return i1, load - i1, v1 - i1*r1
}
