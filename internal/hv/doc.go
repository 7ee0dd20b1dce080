// Package hv is the arithmetic of high-voltage measurements that needs more
// than a formula in a rules file: first of all isolation by two voltages,
// with the refusal of readings that contradict each other. All numbers are
// SI.
//
// What a formula can carry is a formula, in the table of package vehicle or
// in a rules file, and not here: here stands what needs a matrix (Share,
// Equalise), steps through time (Precharge, Equalise), or cases (Stall,
// Bands, DischargeTime, Coil, LeakAlong, the series E24, the sections of IEC
// 60228).
//
// # Isolation by two voltages
//
// UN R100, annex on the isolation resistance test, paragraphs 1.2.3.4 and
// 1.2.3.5: V_b is the voltage of the source, V1 that of its negative pole to
// chassis, V2 of its positive pole to chassis. A known resistor R0 then goes
// between chassis and the pole with the larger voltage, which falls to V′:
//
//	R_i = R0·V_b·(1/V′ − 1/V1)    V1 ≥ V2, R0 at the negative pole
//	R_i = R0·V_b·(1/V′ − 1/V2)    V2 > V1, R0 at the positive pole
//
// R_i is the resistance of the other pole, the weaker of the two. With g for
// conductances to chassis, a and b for the voltages at the pole with R0 and
// at the other one, and r for the voltmeter:
//
//	a  = V_b·g_i/(g_i + g_o + 1/r)
//	b  = V_b·g_o/(g_i + g_o + 1/r)
//	V′ = V_b·g_i/(g_i + g_o + 1/r + 1/R0)
//
// so that R_i holds exactly for one meter that is moved from pole to pole,
// whatever its resistance. The resistance of the pole with R0 is R_i·a/b,
// and both poles in parallel are R_i·a/(a+b): what a tester sees that joins
// the poles, and an isolation monitor. a + b is V_b·r/(r + both poles), which
// must agree with the readings. With two meters, one on each pole all the
// time, a + b is V_b, and both poles are read with r in parallel, which is
// taken off: R = 1/(1/R_raw − 1/r).
//
// # Uncertainty
//
// Every reading has a half-width. The contribution of one is the largest
// change of the result when that reading alone goes to either end of it,
// computed exactly, not by derivatives: the formulas bend where V′ nears its
// last digit. Each counts as the half-width of a rectangular distribution;
// they combine by root sum of squares with k = 2, U = 2·√(Σ(a/√3)²), never
// above the sum (GUM, JCGM 100:2008, 4.3.7 and 5.1.2). The bare root of the
// half-widths would cover 91 to 92 % only. Readings by one meter share its
// gain error, which cancels in R_i, so that taking them as independent is on
// the safe side. Where a reading's half-width allows an infinite result, the
// result is the lower end and is marked above: it proves what it proves, no
// more. Readings are refused as contradictory only where no true
// values within all half-widths at once, to first order, would give them.
package hv
