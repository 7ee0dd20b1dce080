package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The shapes of the JSON documents as others rely on them, written down a
// second time on purpose: not taken from the types that encode them. An object
// may have more fields than its shape, never fewer.
//
// A string is "text", "number", "whole", "bool", or the words that are
// allowed, with | between them. A field with ? after its name may be absent;
// none may be null.
type (
	object map[string]any
	list   [1]any
)

const (
	decisions = "pass|conditional pass|conditional fail|fail|cannot decide|done|not applicable|not done"
	bounds    = "at_least|at_most|between|magnitude_at_most|expected"
)

var (
	amount = object{"value": "number", "unit": "text", "bound?": "above|below", "u?": "number"}
	limit  = object{"id": "text", "procedure?": "text", "step?": "text", "bound": bounds, "low?": amount, "high?": amount,
		"formula": "text", "substituted": "text", "inputs": list{object{"name": "text", "low": amount, "high": amount}},
		"rules?": "text", "governs": "bool", "source?": "text"}
	step = object{"id": "text", "kind": "confirm|observe|measure|time|compute|wait|hold|capture", "attempts": "whole", "instrument?": "text", "capture?": aCapture,
		"decision": decisions, "reading?": amount, "limit?": limit, "window?": limit, "findings": list{"text"}}
	aCapture = object{"kind": "precharge|discharge|emergency_off|sharing|coil|precharge_and_discharge", "features": object{}, "findings": list{object{"code": "text", "sentence": "text"}}}
	aRun     = object{"run?": "text", "procedure": "text", "practice": "bool", "rehearsal": "bool",
		"outcome": "passed|failed|stopped|refused", "steps": list{step}}
	anItem    = object{"id": "text", "kind": "text", "text": "text", "parts": list{"text"}, "blocks": "bool", "open": "bool"}
	owed      = object{"procedure": "text", "whole": "bool", "items": list{"text"}, "proofs": list{"text"}, "people": "whole", "instruments": list{"text"}, "minutes": "whole"}
	aBaseline = object{"entry": "whole", "time": "text", "runs": list{"text"}, "reason": "text", "signers": list{"text"}, "in_force": "bool"}
	effect    = object{"proof": "text", "parts": list{"text"}, "reason": "text"}
	conduct   = object{"entry": "whole", "code": "text", "sentence": "text"}

	documents = map[string]object{
		"check": {"ok": "bool", "problems": list{object{"file": "text", "line?": "whole", "column?": "whole",
			"severity": "error|warning|refusal", "message": "text", "hint?": "text"}}},
		"limits": {"limits": list{limit}},
		"plan":   {"procedure": "text", "ok": "bool", "steps": list{object{"id": "text", "kind": "text", "limits": list{limit}}}},
		"run":    aRun, "resume": aRun, "show": aRun,
		"ready": {"may_energise": "bool", "practice": "bool",
			"proofs": list{object{"id": "text", "state": "holds|void|lapsed|failed|missing|not applicable", "parts": list{"text"},
				"reason?": "text", "until?": "text"}}, "open_items": list{anItem}, "reasons": list{"text"},
			"retest": list{owed}, "falling": list{"text"}, "outliers": list{"text"}, "minutes": "whole", "baseline?": aBaseline},
		"rework": {"entry": "whole", "work": "text", "parts": list{"text"}, "void": list{effect}, "keep": list{effect}, "retest": list{owed}},
		"judge": {"run": "text", "rules": "text", "ok": "bool", "results": list{object{"step": "text", "said": "text", "before": decisions,
			"after": decisions, "anew": "bool", "limits": list{limit}, "silent": list{"text"}}}},
		"compare": {"runs": list{"text"}, "steps": list{object{"id": "text", "said": list{"text"}, "decisions": list{"text"}, "change?": amount, "beyond": "bool"}}},
		"capture": aCapture,
		"export": {"practice": "bool", "ok": "bool", "units": list{"text"}, "readings": list{object{"log": "text", "entry": "whole", "time": "text", "run": "text", "procedure": "text",
			"practice": "bool", "rehearsal": "bool", "step": "text", "attempt": "whole", "kind": "reading|computed|capture", "number?": "text", "typed?": "text",
			"reading?": amount, "low?": amount, "high?": amount, "limit": list{"text"}, "decision": "text", "instrument?": "text", "person": "text"}}},
		"item":     {"items": list{anItem}},
		"permit":   {},                                                      // of show, grant, test or end
		"baseline": {"baseline?": aBaseline, "baselines?": list{aBaseline}}, // of set, or of show
		"verify":   {"ok": "bool", "practice": "bool", "entries": "whole", "checkpoint?": "text", "faults": list{conduct}, "remarks": list{conduct}, "page?": "as made|other|not comparable"},
		"log": {"origin": "text", "practice": "bool", "size": "whole", "checkpoint": "text",
			"entries": list{object{"index": "whole", "kind": "text", "time": "text", "signers": list{"text"}, "leaf": "text", "note": "text"}}},
		"person":     {},
		"report":     {"practice": "bool"}, // of show, or of ready
		"instrument": {"instruments": list{object{"id": "text", "calibrated_until": "text"}}},
	}
	// failure is the document of a command that gave no answer.
	failure = object{"error": object{"message": "text", "hint?": "text"}}
)

// units are the base units that a document may use.
var units = strings.Fields("V A Ω F s J W K Hz 1 C m N·m Ω/V V/s V·s A²·s kg rad Pa H m²")

// checkDocument gives everything that is wrong with the standard output of a
// command with --json that ended with an exit code.
func checkDocument(command string, code int, out []byte) []string {
	d := json.NewDecoder(bytes.NewReader(out))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return []string{fmt.Sprintf("no document: %v", err)}
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return []string{"something follows the document"}
	}
	shape, known := documents[command]
	if o, _ := v.(map[string]any); o["error"] != nil || (code == 4 && command != "verify") {
		shape = failure
		if code != 2 && code != 4 && code != 1 {
			return []string{fmt.Sprintf("an error document with exit code %d", code)}
		}
	} else if !known {
		return []string{fmt.Sprintf("no shape is known for %q", command)}
	}
	var faults []string
	checkShape("", shape, v, &faults)
	checkNulls("", v, &faults)
	return faults
}

// checkShape holds a value against its shape.
func checkShape(at string, shape, v any, faults *[]string) {
	fault := func(format string, args ...any) {
		*faults = append(*faults, at+": "+fmt.Sprintf(format, args...))
	}
	switch shape := shape.(type) {
	case object:
		o, ok := v.(map[string]any)
		if !ok {
			fault("%v is no object", v)
			return
		}
		for _, name := range slices.Sorted(maps.Keys(shape)) {
			bare, optional := strings.CutSuffix(name, "?")
			x, ok := o[bare]
			switch {
			case ok:
				checkShape(at+"."+bare, shape[name], x, faults)
			case !optional:
				fault("%s is absent", bare)
			}
		}
		if u, ok := o["unit"].(string); ok && !slices.Contains(units, u) {
			fault("%q is no base unit", u)
		}
		checkEnds(o, fault)
	case list:
		l, ok := v.([]any)
		if !ok {
			fault("%v is no list", v)
		}
		for i, x := range l {
			checkShape(fmt.Sprintf("%s[%d]", at, i), shape[0], x, faults)
		}
	case string:
		checkWord(shape, v, fault)
	}
}

// checkEnds wants the ends that a limit's kind has, and no other.
func checkEnds(o map[string]any, fault func(string, ...any)) {
	kind, ok := o["bound"].(string)
	if _, isAmount := o["value"]; !ok || isAmount || o["missing"] != nil || o["not_applicable"] != nil {
		return
	}
	_, low := o["low"]
	_, high := o["high"]
	if low != (kind != "at_most" && kind != "magnitude_at_most") || high != (kind != "at_least") {
		fault("%s has low: %v, high: %v", kind, low, high)
	}
}

func checkWord(shape string, v any, fault func(string, ...any)) {
	text, isText := v.(string)
	number, isNumber := v.(json.Number)
	_, isBool := v.(bool)
	ok := false
	switch shape {
	case "text":
		ok = isText
	case "bool":
		ok = isBool
	case "number":
		_, err := number.Float64()
		ok = isNumber && err == nil && digitsOf(number.String()) <= 12
	case "whole":
		_, err := number.Int64()
		ok = isNumber && err == nil
	default:
		ok = isText && slices.Contains(strings.Split(shape, "|"), text)
	}
	if !ok {
		fault("%v is not %s", v, shape)
	}
}

// digitsOf counts the significant digits of a JSON number: more than twelve are
// the noise of binary arithmetic.
func digitsOf(number string) int {
	mantissa, _, _ := strings.Cut(strings.TrimPrefix(number, "-"), "e")
	return len(strings.Trim(strings.Replace(mantissa, ".", "", 1), "0"))
}

func checkNulls(at string, v any, faults *[]string) {
	switch v := v.(type) {
	case nil:
		*faults = append(*faults, at+" is null")
	case map[string]any:
		for k, x := range v {
			checkNulls(at+"."+k, x, faults)
		}
	case []any:
		for i, x := range v {
			checkNulls(fmt.Sprintf("%s[%d]", at, i), x, faults)
		}
	}
}

// TestCheckDocument makes sure that the check objects to what it should.
func TestCheckDocument(t *testing.T) {
	good := `{"ok":false,"problems":[{"file":"a","line":1,"severity":"error","message":"m"}]}`
	assert.Empty(t, checkDocument("check", 2, []byte(good+"\n")))
	assert.Empty(t, checkDocument("run", 2, []byte(`{"error":{"message":"m"}}`)))
	for want, text := range map[string]string{
		"no document":                  ``,
		"follows":                      good + good,
		"severity is absent":           `{"ok":true,"problems":[{"file":"a","message":"m"}]}`,
		"is not error|warning|refusal": strings.Replace(good, `"error"`, `"fault"`, 1),
		"is not whole":                 strings.Replace(good, `1`, `1.5`, 1),
		"is null":                      strings.Replace(good, `"line":1`, `"line":1,"more":null`, 1),
		"is no list":                   `{"ok":true,"problems":{}}`,
	} {
		assert.Contains(t, strings.Join(checkDocument("check", 2, []byte(text)), "; "), want)
	}
	bound := `{"limits":[{"id":"a","bound":"at_most","low":{"value":1,"unit":"mV"},"formula":"1","substituted":"1","inputs":[],"governs":true}]}`
	faults := strings.Join(checkDocument("limits", 0, []byte(bound)), "; ")
	assert.Contains(t, faults, `"mV" is no base unit`)
	assert.Contains(t, faults, "at_most has low: true, high: false")
	assert.NotEmpty(t, checkDocument("run", 0, []byte(`{"error":{"message":"m"}}`)))
}
