package capture

import (
	"bytes"
	"fmt"
)

// twoWays asks about a file that two dialects can read.
func (h *head) twoWays(a, b reading) error {
	i := max(a.first, b.first)
	if a.delimiter != b.delimiter && (a.mark == ',') != (b.mark == ',') {
		return h.fault(i, "--decimal-comma says that it is a decimal comma, --delimiter , that it stands between values",
			"%q can be one number with a decimal comma or two values", short(h.lines[i].text))
	}
	if a.delimiter == b.delimiter {
		return h.fault(i, hintUnsure([]byte(",")),
			"the comma in %q can be a decimal mark or a separator of thousands", short(h.lines[i].text))
	}
	return h.fault(i, fmt.Sprintf("say --delimiter %s or --delimiter %s", nameOf(a.delimiter), nameOf(b.delimiter)),
		"%q can be read in two ways", short(h.lines[i].text))
}

// sure asks about what the best reading leaves open.
func (h *head) sure(b reading, opt Options) error {
	if b.unsure > 0 {
		l := h.lines[b.unsure-1].text
		for _, part := range split(nil, l, b.delimiter) {
			if classify(part, b.mark, false, 0).kind == isUnsure {
				return h.fault(b.unsure-1, hintUnsure(part), "%q can be read in two ways", short(part))
			}
		}
	}
	if b.mark == ',' && !b.proven && b.grouped > 0 && opt.Decimal == "" {
		return h.fault(b.grouped-1, hintUnsure([]byte(",")),
			"the comma in %q can be a decimal mark or a separator of thousands", short(h.lines[b.grouped-1].text))
	}
	if b.delimiter == ',' && b.mark == '.' && opt.Delimiter == "" && b.columns > 1 {
		return h.commaTwice(b)
	}
	return nil
}

// commaTwice refuses "0,0001,361,9", where the comma seems to be delimiter
// and decimal mark at once: no point anywhere, and zeros in front, twice as
// many values as names, or an even number of values without any name.
func (h *head) commaTwice(b reading) error {
	zeros := -1
	for i := b.first; i < len(h.lines); i++ {
		l := h.lines[i].text
		if bytes.IndexByte(l, '.') >= 0 {
			return nil
		}
		for _, part := range split(nil, l, ',') {
			part = bytes.TrimLeft(part, "+-")
			if len(part) > 1 && part[0] == '0' && part[1] >= '0' && part[1] <= '9' && zeros < 0 {
				zeros = i
			}
		}
	}
	names := h.namesBefore(b.dialect)
	if zeros < 0 && (names == b.columns || b.columns%2 == 1) {
		return nil
	}
	return h.fault(max(zeros, b.first), "export it with another delimiter or a decimal point; --delimiter , says that all are whole numbers",
		"%q: the comma seems to be both delimiter and decimal mark", short(h.lines[max(zeros, b.first)].text))
}

// namesBefore counts the fields of the line before the data, 0 if there is
// none.
func (h *head) namesBefore(d dialect) int {
	for i := d.first - 1; i >= 0; i-- {
		if l := h.lines[i].text; len(trim(l)) > 0 {
			return len(split(nil, l, d.delimiter))
		}
	}
	return 0
}
