package yamlfile

import (
	"strings"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// Kind says what a Node is.
type Kind int

const (
	// TextKind is a scalar.
	TextKind Kind = iota + 1
	// MapKind is a map from keys to nodes.
	MapKind
	// ListKind is a list of nodes.
	ListKind
)

// String gives "a text", "a map", "a list".
func (k Kind) String() string {
	switch k {
	case TextKind:
		return "a text"
	case MapKind:
		return "a map"
	case ListKind:
		return "a list"
	}
	return "nothing"
}

// Node is one value of a file with its place.
type Node struct {
	kind   Kind
	scalar Scalar // of a text; of a map or list only At is set
	pairs  []Pair
	items  []*Node
}

// Pair is one key of a map with its value.
type Pair struct {
	Key   Scalar
	Value *Node
}

// Kind says what the node is.
func (n *Node) Kind() Kind { return n.kind }

// Place gives where the node begins.
func (n *Node) Place() diag.Place { return n.scalar.At }

// Text gives a scalar's text, "" for a map or a list.
func (n *Node) Text() string { return n.scalar.Text }

// Scalar gives a scalar with its place; of a map or a list the place only.
func (n *Node) Scalar() Scalar { return n.scalar }

// Pairs gives a map's keys and values in the order of the file.
func (n *Node) Pairs() []Pair { return n.pairs }

// Items gives a list's values.
func (n *Node) Items() []*Node { return n.items }

// Get gives the value of a map's key.
func (n *Node) Get(key string) (*Node, bool) {
	for _, p := range n.pairs {
		if p.Key.Text == key {
			return p.Value, true
		}
	}
	return nil, false
}

// Scalar is a text of a file with its place. The zero Scalar stands for a key
// that is not in the file: At.Line is 0.
type Scalar struct {
	// Text is the value as written, without quotes: 1.10 stays "1.10".
	Text string
	// At is where the text begins: its first character if Direct (so after a
	// quote), else the quote or the block's mark.
	At diag.Place
	// Source is the line of the file that At names.
	Source string
	// Direct: the text stands in this line character for character, so that
	// the n-th character of Text is at column At.Column+n.
	Direct bool
	// Block: the text is a block of lines after | or >.
	Block bool
}

// Given reports whether the scalar stands in the file.
func (s Scalar) Given() bool { return s.At.Line > 0 }

// span is how many characters of the line a problem at s marks.
func (s Scalar) span() int {
	if s.Direct {
		return utf8.RuneCountInString(s.Text)
	}
	rest := []rune(s.Source)
	if s.At.Column < 1 || s.At.Column > len(rest) {
		return 1
	}
	return utf8.RuneCountInString(strings.TrimRight(string(rest[s.At.Column-1:]), " "))
}

// Map is a map in the order of the file.
type Map[T any] struct {
	keys   []Scalar
	values map[string]T
}

// Keys gives the keys in the order of the file, with their places.
func (m Map[T]) Keys() []Scalar { return m.keys }

// Len gives the number of keys.
func (m Map[T]) Len() int { return len(m.keys) }

// Get gives the value of a key.
func (m Map[T]) Get(key string) (T, bool) {
	v, ok := m.values[key]
	return v, ok
}

func (m *Map[T]) add(key Scalar, value T) {
	if m.values == nil {
		m.values = make(map[string]T)
	}
	m.keys = append(m.keys, key)
	m.values[key.Text] = value
}
