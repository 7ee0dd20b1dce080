package pdf

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"
)

// writeTagged writes a file as fpdf made it with the structure tree in it,
// which fpdf has no way to say: the pages say which of their pieces are whose,
// the catalogue names the tree, and the tree lies in compressed object streams
// behind the rest, with a new cross-reference stream (ISO 32000-1:2008, 7.5.7,
// 7.5.8 and 14.7).
func writeTagged(w io.Writer, made []byte, root *element, owners [][]*element) error {
	old, err := objectsOf(made)
	if err != nil {
		return err
	}
	t := tree{next: len(old.offsets), numbers: map[*element]int{}}
	for number := 1; number < len(old.offsets); number++ {
		object := old.bodies[number]
		if bytes.Contains(object[:min(len(object), 40)], []byte("<</Type /Page\n")) {
			t.pages = append(t.pages, number)
		}
	}
	if len(t.pages) < len(owners) {
		return errors.New("tagging: there are more marked pages than pages")
	}
	top := t.number() // the tree's root
	t.add(root, top)
	t.root(top, root, owners)

	var b bytes.Buffer
	b.WriteString("%PDF-1.7\n")
	b.Write(made[len("%PDF-1.7\n"):old.offsets[old.first]])
	x := xref{{kind: 0, b: 65535}}
	page := 0
	for number := 1; number < len(old.offsets); number++ {
		x = append(x, place{kind: 1})
		if page < len(t.pages) && t.pages[page] == number {
			old.bodies[number] = bytes.Replace(old.bodies[number], []byte("/Type /Page\n"), fmt.Appendf(nil, "/Type /Page\n/StructParents %d\n/Tabs /S\n", page), 1)
			page++
		}
	}
	old.bodies[old.root] = bytes.Replace(old.bodies[old.root], []byte("/Type /Catalog\n"),
		fmt.Appendf(nil, "/Type /Catalog\n/StructTreeRoot %d 0 R\n/MarkInfo <</Marked true>>\n/ViewerPreferences <</DisplayDocTitle true>>\n", top), 1)
	for _, number := range old.order {
		x[number].a = b.Len()
		b.Write(old.bodies[number])
	}
	if err := t.write(&b, &x); err != nil {
		return err
	}
	if err := x.write(&b, old.root, old.info); err != nil {
		return err
	}
	_, err = w.Write(b.Bytes())
	return err
}

// objects are those of a file with a classic cross-reference table.
type objects struct {
	offsets           []int
	bodies            map[int][]byte
	order             []int // numbers in the order of the file
	first, root, info int
}

var trailer = regexp.MustCompile(`trailer\n<<\n/Size (\d+)\n/Root (\d+) 0 R\n/Info (\d+) 0 R\n>>\nstartxref\n(\d+)\n%%EOF\n?$`)

func objectsOf(file []byte) (*objects, error) {
	tail := file[max(0, len(file)-400):]
	m := trailer.FindSubmatch(tail)
	if m == nil {
		return nil, errors.New("tagging: the file does not end as fpdf ends one")
	}
	var n [4]int
	for i := range n {
		n[i], _ = strconv.Atoi(string(m[i+1])) // digits
	}
	o := &objects{offsets: make([]int, n[0]), bodies: map[int][]byte{}, root: n[1], info: n[2]}
	lines := strings.Split(string(file[n[3]:]), "\n")
	if len(lines) < n[0]+2 || strings.TrimSpace(lines[0]) != "xref" {
		return nil, errors.New("tagging: the table of objects is not where the file says")
	}
	at := map[int]int{}
	for number := 1; number < n[0]; number++ {
		offset, err := strconv.Atoi(strings.TrimLeft(lines[number+2][:10], "0"))
		if err != nil || !bytes.HasPrefix(file[offset:], fmt.Appendf(nil, "%d 0 obj", number)) {
			return nil, fmt.Errorf("tagging: object %d is not where the table says", number)
		}
		o.offsets[number], at[offset] = offset, number
	}
	end := n[3]
	for offset := n[3] - 1; offset > 0; offset-- {
		if number, ok := at[offset]; ok {
			o.bodies[number] = bytes.Clone(file[offset:end])
			o.order = append([]int{number}, o.order...)
			o.first, end = number, offset
		}
	}
	return o, nil
}

// A tree is the objects of the structure tree.
type tree struct {
	next    int
	numbers map[*element]int
	pages   []int // numbers of the page objects, in order
	texts   []numbered
}

type numbered struct {
	number int
	text   string
}

func (t *tree) number() int { t.next++; return t.next - 1 }

func (t *tree) say(number int, format string, args ...any) {
	t.texts = append(t.texts, numbered{number, fmt.Sprintf(format, args...)})
}

// add makes the objects of an element and of what is in it; what is empty is
// left out.
func (t *tree) add(e *element, parent int) bool {
	number := t.number()
	t.numbers[e] = number
	at := len(t.texts)
	t.texts = append(t.texts, numbered{})
	var kids []string
	for _, k := range e.kids {
		switch k := k.(type) {
		case *element:
			if t.add(k, number) {
				kids = append(kids, fmt.Sprintf("%d 0 R", t.numbers[k]))
			}
		case mark:
			kids = append(kids, fmt.Sprintf("<</Type/MCR/Pg %d 0 R/MCID %d>>", t.pages[k.page-1], k.id))
		}
	}
	more := ""
	if e.alt != "" {
		more += "/Alt " + textString(e.alt)
	}
	switch {
	case e.role == "TH":
		more += "/A<</O/Table/Scope/Column>>"
	case e.role == "L":
		more += "/A<</O/List/ListNumbering/None>>"
	case e.box != "":
		more += "/A<</O/Layout/Placement/Block/BBox[" + e.box + "]>>"
	}
	t.texts[at] = numbered{number, fmt.Sprintf("<</Type/StructElem/S/%s/P %d 0 R%s/K[%s]>>", e.role, parent, more, strings.Join(kids, " "))}
	return len(kids) > 0
}

// root makes the tree's root, and by which page and piece which element is
// found.
func (t *tree) root(top int, document *element, owners [][]*element) {
	parents := t.number()
	t.say(top, "<</Type/StructTreeRoot/K[%d 0 R]/ParentTree %d 0 R/ParentTreeNextKey %d>>", t.numbers[document], parents, len(owners))
	var nums strings.Builder
	for page, of := range owners {
		fmt.Fprintf(&nums, "%d[", page)
		for _, e := range of {
			fmt.Fprintf(&nums, "%d 0 R ", t.numbers[e])
		}
		nums.WriteString("]")
	}
	t.say(parents, "<</Nums[%s]>>", nums.String())
}

// inStream is how many objects lie in one object stream.
const inStream = 500

func (t *tree) write(b *bytes.Buffer, x *xref) error {
	for len(*x) < t.next {
		*x = append(*x, place{})
	}
	for len(t.texts) > 0 {
		some := t.texts[:min(inStream, len(t.texts))]
		t.texts = t.texts[len(some):]
		stream := len(*x)
		var head, texts bytes.Buffer
		for i, o := range some {
			fmt.Fprintf(&head, "%d %d ", o.number, texts.Len())
			texts.WriteString(o.text + "\n")
			(*x)[o.number] = place{2, stream, i}
		}
		*x = append(*x, place{kind: 1, a: b.Len()})
		if err := writeStream(b, stream, fmt.Sprintf("/Type/ObjStm/N %d/First %d", len(some), head.Len()), append(head.Bytes(), texts.Bytes()...)); err != nil {
			return err
		}
	}
	return nil
}

// xref says where each object is: free, at an offset, or in a stream.
type xref []place

type place struct{ kind, a, b int }

func (x xref) write(b *bytes.Buffer, root, info int) error {
	at, number := b.Len(), len(x)
	x = append(x, place{kind: 1, a: at})
	var rows bytes.Buffer
	for _, p := range x {
		rows.WriteByte(byte(p.kind))
		rows.Write(binary.BigEndian.AppendUint32(nil, uint32(p.a)))
		rows.Write(binary.BigEndian.AppendUint16(nil, uint16(p.b)))
	}
	err := writeStream(b, number, fmt.Sprintf("/Type/XRef/Size %d/Root %d 0 R/Info %d 0 R/W[1 4 2]", len(x), root, info), rows.Bytes())
	fmt.Fprintf(b, "startxref\n%d\n%%%%EOF\n", at)
	return err
}

func writeStream(b *bytes.Buffer, number int, dictionary string, data []byte) error {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	_, err := z.Write(data)
	if err = errors.Join(err, z.Close()); err != nil {
		return fmt.Errorf("tagging: %w", err)
	}
	fmt.Fprintf(b, "%d 0 obj\n<<%s/Filter/FlateDecode/Length %d>>\nstream\n", number, dictionary, packed.Len())
	b.Write(packed.Bytes())
	b.WriteString("\nendstream\nendobj\n")
	return nil
}

// textString writes a text as UTF-16BE in hexadecimal (7.9.2.2).
func textString(s string) string {
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	return b.String() + ">"
}
