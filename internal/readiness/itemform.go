package readiness

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/form"
)

// AddForm asks what is provisional. canonical gives a part's one name.
func AddForm(canonical func(string) (string, bool)) *form.Form {
	return form.New(
		form.Field{Key: "item", Ask: "What sort of thing is provisional?", Choices: ItemKinds()},
		form.Field{Key: "text", Ask: "What is it, and where? One sentence.", Example: "left_junction_plus only nipped up"},
		form.Field{Key: "parts", Ask: "Which parts of the car does it concern?", Example: "joints.left_plus", Many: true, Optional: true,
			Check: func(text string) ([]string, error) {
				if part, ok := canonical(text); ok {
					return []string{part}, nil
				}
				return nil, fmt.Errorf("the car has no part %q", text)
			}},
		form.Field{Key: "blocks", Ask: "Does it keep power off while it is open?", Choices: []string{"nothing", "power"}},
	)
}

// AddBody gives the entry that opens an item.
func AddBody(kind, text, blocks string, parts []string) entry.Body {
	b := entry.Body{Kind: entry.ItemOpen}
	b.Add("item", kind)
	b.Add("text", text)
	b.AddFamily("part", parts...)
	b.Add("blocks", blocks)
	return b
}

// CarryBody gives the entry by which a log goes on with an open item of
// another one, so that it can be closed here.
func CarryBody(i *OpenItem) entry.Body {
	blocks := "nothing"
	if i.Blocks {
		blocks = "power"
	}
	b := AddBody(i.Kind, i.Text, blocks, i.Parts)
	b.Add("carries", entry.FormatHash(i.Leaf))
	return b
}

// StandBody gives the entry that stands in a log for a nonconformance of one
// before, so that it can be decided here.
func StandBody(n *Nonconformance) entry.Body {
	b := naming(entry.Nonconformance, n.Ref)
	b.Add("text", fmt.Sprintf("of run %s: %s", n.Run, n.Text))
	return b
}

// CloseForm asks for the evidence that an item is done. A joint wants torque,
// tool, mark, and another person who has seen it; signer is who signs.
func CloseForm(i *OpenItem, signer string) *form.Form {
	joint := i.Kind == Joint
	return form.New(
		form.Field{Key: "text", Ask: "What was done? One sentence."},
		form.Field{Key: "torque", Ask: "To which torque?", Example: "17 N·m", Optional: !joint},
		form.Field{Key: "tool", Ask: "With which tool?", Example: "torque-2", Optional: !joint},
		form.Field{Key: "mark", Ask: "Which mark was put on?", Example: "yellow, across both", Optional: !joint},
		form.Field{Key: "by", Ask: "Who did it?", Example: "r.mills"},
		form.Field{Key: "seen_by", Ask: "Who else has seen it?", Example: "s.okoro", Optional: !joint, Check: func(text string) ([]string, error) {
			if text == signer {
				return nil, fmt.Errorf("%s signs: another person must have seen it", signer)
			}
			return []string{text}, nil
		}},
	)
}

// CloseBody gives the entry that closes an item.
func CloseBody(i *OpenItem, f *form.Form) entry.Body {
	b := naming(entry.ItemClose, i.Ref)
	b.Add("text", f.Get("text"))
	for _, field := range []string{"torque", "tool", "mark", "by"} {
		b.Add(field, f.Get(field))
	}
	b.Add("seen-by", f.Get("seen_by"))
	return b
}

// naming begins an entry that names another one.
func naming(kind entry.Kind, of Ref) entry.Body {
	b := entry.Body{Kind: kind}
	b.Add("entry", strconv.FormatInt(of.Index, 10))
	b.Add("leaf", entry.FormatHash(of.Leaf))
	return b
}

// notFound is the cause of a nonconformance whose cause was not found.
const notFound = "not found"

// DecideForm asks what is decided about a nonconformance. Without a cause it
// wants to know what was checked instead; repair and use as is want a
// concession: who has granted it, and until when.
func DecideForm() *form.Form {
	var f *form.Form
	conceded := func(*form.Form) bool {
		return slices.Contains([]string{"repair", "use-as-is"}, f.Get("disposition"))
	}
	f = form.New(
		form.Field{Key: "disposition", Ask: "What is decided? Rework meets the requirement again; repair does not quite.", Choices: []string{"use-as-is", "repair", "scrap", "rework"}},
		form.Field{Key: "cause", Ask: "What was the cause? A value that recovered by itself is not a cause.", Example: "cable chafed under the seat, or: " + notFound},
		form.Field{Key: "checks", Ask: "Which extra checks were made, since the cause was not found?", Many: true,
			When: func(*form.Form) bool { return strings.EqualFold(f.Get("cause"), notFound) }},
		form.Field{Key: "concession", Ask: "Who has granted the concession, and until when?", When: conceded},
		form.Field{Key: "text", Ask: "Anything else?", Optional: true},
	)
	return f
}

// DecideBody gives the entry of a disposition.
func DecideBody(n *Nonconformance, f *form.Form) entry.Body {
	b := naming(entry.Disposition, n.Ref)
	b.Add("disposition", f.Get("disposition"))
	b.Add("cause", f.Get("cause"))
	b.AddFamily("check", f.All("checks")...)
	b.Add("concession", f.Get("concession"))
	b.Add("text", f.Get("text"))
	return b
}
