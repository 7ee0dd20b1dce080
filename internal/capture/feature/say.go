package feature

import (
	"fmt"
	"strings"

	"hvproof/internal/quantity"
)

func sentence(format string, args ...any) string { return fmt.Sprintf(format, args...) }

// The values of sentences: three significant digits, as people say them.
func say(x float64, dim quantity.Dim) string {
	return quantity.Format(quantity.Value{SI: x, Dim: dim}, 3, quantity.RoundNearest)
}

func volts(x float64) string   { return say(x, quantity.Volt) }
func amperes(x float64) string { return say(x, quantity.Ampere) }
func ohms(x float64) string    { return say(x, quantity.Ohm) }
func farads(x float64) string  { return say(x, quantity.Farad) }
func seconds(x float64) string { return say(x, quantity.Second) }

func percent(x float64) string {
	return quantity.Format(quantity.Value{SI: 100 * x, Dim: quantity.One}, 3, quantity.RoundNearest) + " %"
}

func span(lo, hi float64, dim quantity.Dim) string { return say(lo, dim) + " to " + say(hi, dim) }

// list joins words: "a, b or c".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
