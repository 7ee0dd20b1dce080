package yamlfile

import (
	"bytes"
	"errors"
	"io"
	"strings"

	"go.yaml.in/yaml/v4"

	"hvproof/internal/diag"
)

// limits stops the library before deep nesting costs anything.
type limits struct{}

// CheckDepth refuses nesting beyond MaxDepth.
func (limits) CheckDepth(depth int, _ *yaml.DepthContext) error {
	if depth > MaxDepth {
		return errors.New(tooDeep)
	}
	return nil
}

// CheckAlias has nothing to refuse: into a yaml.Node no alias is expanded, and
// the builder refuses them all.
func (limits) CheckAlias(int, int) error { return nil }

// parse reads the text into Root.
func (f *File) parse(text string) {
	for i, line := range f.lines {
		if strings.HasPrefix(line, "%") {
			f.problems.Add(f.Problem(diag.Place{Line: i + 1, Column: 1}, len(line), "delete the line", "begins with a directive (%%), which is not read"))
			return
		}
		if t := strings.TrimSpace(line); t != "" && !strings.HasPrefix(t, "#") {
			break
		}
	}
	loader, err := yaml.NewLoader(bytes.NewReader([]byte(text)), yaml.WithPlugin(limits{}), yaml.WithUniqueKeys(false))
	if err != nil {
		f.problems.Errorf(diag.Place{File: f.Name}, "", "cannot be read: %v", err)
		return
	}
	var document, second yaml.Node
	switch err := loader.Load(&document); {
	case errors.Is(err, io.EOF), err == nil && len(document.Content) == 0:
		f.problems.Errorf(diag.Place{File: f.Name}, "", "is empty: there are only comments")
		return
	case err != nil:
		f.problems.Add(f.syntaxProblem(err))
		return
	}
	b := builder{file: f}
	root := document.Content[0]
	if isNull(root) {
		f.problems.Errorf(diag.Place{File: f.Name}, "", "is empty: there are only comments")
		return
	}
	f.Root = b.node(root, 1)
	switch err := loader.Load(&second); {
	case err == nil:
		at := diag.Place{Line: max(second.Line, 1), Column: 1}
		f.problems.Add(f.Problem(at, 3, "one file holds one document; delete the line --- and what follows", "a second document begins"))
	case !errors.Is(err, io.EOF):
		f.problems.Add(f.syntaxProblem(err))
	}
}

// builder turns the library's nodes into ours and collects what is refused.
type builder struct{ file *File }

func (b *builder) add(at diag.Place, span int, hint, format string, a ...any) {
	b.file.problems.Add(b.file.Problem(at, span, hint, format, a...))
}

// node builds one node; nil if it is refused, which has then been reported.
func (b *builder) node(n *yaml.Node, depth int) *Node {
	at := b.place(n)
	if depth > MaxDepth {
		b.add(at, 1, "", "%s", tooDeep)
		return nil
	}
	if b.refuse(n, at) && n.Kind == yaml.AliasNode {
		return nil
	}
	switch n.Kind {
	case yaml.ScalarNode:
		return &Node{kind: TextKind, scalar: b.scalar(n)}
	case yaml.SequenceNode:
		return b.list(n, at, depth)
	case yaml.MappingNode:
		return b.mapping(n, at, depth)
	}
	b.add(at, 1, "", "is neither a text nor a map nor a list")
	return nil
}

// refuse reports anchors, aliases and tags; it is true if there was one.
func (b *builder) refuse(n *yaml.Node, at diag.Place) bool {
	switch {
	case n.Kind == yaml.AliasNode:
		b.add(at, 1, "write the values out", "is an alias (*%s), which is not read", cut(n.Value))
	case n.Anchor != "":
		b.add(at, 1, "delete it and write the values out where they are used", "has an anchor (&%s), which is not read", cut(n.Anchor))
	case n.Style&yaml.TaggedStyle != 0:
		b.add(at, 1, "delete it; put a text that begins with ! in quotes", "has a tag (%s), which is not read", cut(n.Tag))
	default:
		return false
	}
	return true
}

// missing reports a value that is not there: nothing at all, or a block
// without lines. It is true if so.
func (b *builder) missing(n *yaml.Node, at diag.Place, span int, hint, what string) bool {
	if n.Style&yaml.FoldedStyle != 0 && strings.TrimSpace(n.Value) == "" {
		hint = `put a text that begins with > in quotes, as in ">2 GΩ"`
	} else if !isNull(n) && (n.Style&yaml.LiteralStyle == 0 || strings.TrimSpace(n.Value) != "") {
		return false
	}
	b.add(at, span, hint, "%s", what)
	return true
}

func (b *builder) list(n *yaml.Node, at diag.Place, depth int) *Node {
	out := &Node{kind: ListKind, scalar: Scalar{At: at, Source: b.file.Line(at.Line)}}
	for _, c := range n.Content {
		if b.missing(c, b.place(c), 1, "write a value or delete it", "an item of the list is empty") {
			continue
		}
		if item := b.node(c, depth+1); item != nil {
			out.items = append(out.items, item)
		}
	}
	return out
}

func (b *builder) mapping(n *yaml.Node, at diag.Place, depth int) *Node {
	out := &Node{kind: MapKind, scalar: Scalar{At: at, Source: b.file.Line(at.Line)}}
	lines := make(map[string]int, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, ok := b.key(n.Content[i])
		if !ok {
			continue
		}
		first, twice := lines[key.Text]
		switch {
		case !twice:
			lines[key.Text] = key.At.Line
		case first == key.At.Line:
			b.add(key.At, key.span(), "delete one of the two", "the key %s stands twice in this line", quoted(key.Text))
		default:
			b.add(key.At, key.span(), "delete one of the two", "the key %s stands twice, first in line %d and again in line %d", quoted(key.Text), first, key.At.Line)
		}
		value := n.Content[i+1]
		if n := value.Style & yaml.TaggedStyle; n == 0 && value.Anchor == "" &&
			b.missing(value, key.At, key.span(), "write a value after it or delete it", "the key "+quoted(key.Text)+" has no value") {
			continue
		}
		if v := b.node(value, depth+1); v != nil && !twice {
			out.pairs = append(out.pairs, Pair{Key: key, Value: v})
		}
	}
	return out
}

// key reads a key: a text of one line, not empty, not the merge key.
func (b *builder) key(n *yaml.Node) (Scalar, bool) {
	at := b.place(n)
	switch {
	case n.Kind != yaml.ScalarNode && n.Kind != yaml.AliasNode:
		b.add(at, 1, "a key is a word", "a map or a list cannot be a key")
		return Scalar{}, false
	case b.refuse(n, at):
		return Scalar{}, false
	case n.Value == "":
		b.add(at, 1, "", "a key is missing before the colon")
		return Scalar{}, false
	case n.Value == "<<" && n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) == 0:
		b.add(at, 2, "write the values out", "is a merge key (<<), which is not read")
		return Scalar{}, false
	case strings.ContainsAny(n.Value, "\n\r"):
		b.add(at, 1, "a key stands in one line", "the key has more than one line")
		return Scalar{}, false
	}
	return b.scalar(n), true
}

// scalar takes the text as it stands and finds whether it stands there
// character for character.
func (b *builder) scalar(n *yaml.Node) Scalar {
	at := b.place(n)
	s := Scalar{Text: n.Value, At: at, Source: b.file.Line(at.Line), Block: n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0}
	for _, r := range n.Value {
		// Only an escape in double quotes can bring one here.
		if r != '\n' && r != '\t' && invisible(r) {
			b.add(at, s.span(), "write the text without it", "holds the invisible character U+%04X", r)
			break
		}
	}
	skip := 0
	if n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 {
		skip = 1
	}
	line := []rune(s.Source)
	if from := at.Column - 1 + skip; !s.Block && from >= 0 && from <= len(line) {
		rest := string(line[from:])
		if strings.HasPrefix(rest, s.Text) && (skip == 0 || strings.HasPrefix(rest[len(s.Text):], string(line[at.Column-1]))) {
			s.Direct = true
			s.At.Column += skip
		}
	}
	return s
}

func (b *builder) place(n *yaml.Node) diag.Place {
	return diag.Place{File: b.file.Name, Line: n.Line, Column: n.Column}
}

// isNull reports a value that is not there at all; the words null and ~ are
// texts.
func isNull(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Value == "" &&
		n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) == 0
}

// cut leaves the beginning of a text for a message, without what could
// deceive a terminal.
func cut(text string) string {
	const most = 60
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + "…"
	}
	return diag.Printable(text)
}

// quoted is cut in quotes.
func quoted(text string) string { return `"` + cut(text) + `"` }
