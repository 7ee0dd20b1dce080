package measure

import "hvproof/internal/quantity"

// The instruments of the demo car, as far as tests need them.

func voltmeter() Instrument {
	r := func(to, digit float64) MeterRange {
		return MeterRange{To: to, Digit: digit, PercentOfReading: 0.005, Digits: 2}
	}
	return Instrument{ID: "meter-1", Kind: "multimeter", Serial: "S-1", Category: "CAT III", MaxVoltage: 1000,
		CalibratedOn: "2026-06-30", CalibratedUntil: "2027-06-30", Roles: []string{"voltmeter"},
		Functions: []Function{{Name: "dc_voltage", Dim: quantity.Volt, InputResistance: 10e6, Ranges: []MeterRange{r(6, 0.001), r(60, 0.01), r(600, 0.1)}}}}
}

func insulation() Instrument {
	r := func(to, digit float64) MeterRange {
		return MeterRange{To: to, Digit: digit, PercentOfReading: 0.03, Digits: 5}
	}
	return Instrument{ID: "insul-1", Kind: "insulation meter", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-09-15",
		Roles: []string{"insulation_meter"},
		Functions: []Function{{Name: "isolation", Dim: quantity.Ohm, Method: "joined-pole", TestVoltage: 500,
			TestCurrent: 1e-3, TestCurrentKnown: true, Ranges: []MeterRange{r(4e6, 1e3), r(40e6, 10e3), r(400e6, 100e3)}}}}
}

func lowOhm() Instrument {
	return Instrument{ID: "lowohm-1", Category: "CAT III", MaxVoltage: 600, CalibratedUntil: "2026-12-31",
		Functions: []Function{{Name: "resistance", Dim: quantity.Ohm, TestCurrent: 0.2, TestCurrentKnown: true,
			Ranges: []MeterRange{{To: 40, Digit: 0.01, PercentOfReading: 0.015, Digits: 3}}}}}
}

func watch() Instrument {
	return Instrument{ID: "watch-1", CalibratedUntil: "2027-11-02",
		Functions: []Function{{Name: "stopwatch", Dim: quantity.Second, ByHand: true, Ranges: []MeterRange{{To: 3600, Digit: 0.01, Fixed: 0.21}}}}}
}

func demoInstruments() []Instrument {
	return []Instrument{voltmeter(), insulation(), lowOhm(), watch()}
}

func bound(kind quantity.BoundKind, low, high float64, dim quantity.Dim) quantity.Bound {
	return quantity.Bound{Kind: kind, Low: low, High: high, Dim: dim}
}
