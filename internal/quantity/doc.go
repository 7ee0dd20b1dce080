// Package quantity reads and prints what people write: "4.7 kΩ",
// "1.02 mF ±10%", "100 Ω/V", ">2 GΩ".
//
// A [Value] is one number with a dimension, a [Range] a number with the
// tolerance of a part (worst case, never a measurement's uncertainty), a
// [Reading] what somebody read off an instrument, a [Bound] what a reading
// is compared with. Inside, every number is in SI base units (V, A, Ω, F, s,
// J, K …); prefixes exist only in text.
//
// # What is read
//
// A number is plain decimal with a point ("4.7", ".5", "1e-3"), a sign if
// negative. Decimal commas, spaces inside numbers, hexadecimal, NaN and
// infinity are refused. Between number and unit stands a space or nothing.
//
// Units: V A Ω F C H W J N Hz m g s min h Ah Wh °C K % ppm rpm rad Pa bar
// N·m lbf·ft lbf·in, each with the prefixes that make sense for it, and
// products and quotients of them: "Ω/V", "V/ms", "A²·s" (also "A^2*s"),
// "mm²", "s⁻¹". One slash at most, with a single unit after it. Ω (U+03A9), Ω
// (U+2126), ohm, ohms, Ohm and Ohms are one; µ (U+00B5), μ (U+03BC) and u are
// one. m is milli and M is mega, always; nothing is guessed, a hint says what
// may have been meant.
//
// A range is "1.02 mF ±10%", "17 N·m ±0.5 N·m", "12 V -10%/+20%",
// "47..53 Ω", or a plain value. A reading is a value, ">2 GΩ", "<10 mΩ", or
// OL for over range; its unit may be left to the step but for the prefix
// ("45.4 M").
//
// Values are exact: digits and prefix are put together before anything is
// rounded to a float64, so that "10 µF" is the float64 nearest to 0.00001.
//
// # What is printed
//
// Four significant digits and a prefix that people use. [Bound.String]
// rounds limits inward (a lower limit up, an upper limit down) and expected
// windows outward, so that paper is never looser than the sum.
package quantity
