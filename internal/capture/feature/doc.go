// Package feature finds in a waveform what a car's pre-charge, discharge,
// switching off, sharing of current and coils show: numbers with their
// uncertainty (features), and faults in plain sentences (findings).
//
// Samples come from package capture, the mathematics from capture/fit. SI
// throughout.
//
// # What is said and what is not
//
// Features that the recording does not give are left out, and a note says why.
// A finding's code is fixed; its sentence says what was seen, what it may be,
// and which experiment tells apart what the recording cannot. Findings rest on
// the uncertainty of fit and samples; features carry the instrument's accuracy
// too, and it is features that limits are judged by.
//
// # Pre-charge
//
// The link's rise is fitted up to the closing of the main contactor, a jump.
// Where a channel shows the pack, plateau and fraction are taken against it at
// the same moment. Once the contactor has closed, link and pack are one point:
// then the link's own level after the jump is the pack's, by the same channel,
// and gain drops out of the fraction. A link-only recording can show a small
// step and still not say whether the pack stood behind it:
// needs-pack-voltage.
//
// # Discharge
//
// The time to 60 V counts from the opening of the contactor, in emergency-off
// from the trip. What is decided is the time re-scaled to full charge,
// t + τ·ln(V_max/V_start), and to the least favourable tolerance.
package feature
