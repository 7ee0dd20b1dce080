package capture

import "bytes"

// split appends the fields of a line, trimmed and without quotes. A delimiter
// of ' ' stands for any run of spaces and tabs.
func split(into [][]byte, line []byte, delimiter byte) [][]byte {
	if delimiter == ' ' {
		return splitRuns(into, line)
	}
	for {
		line = bytes.TrimLeft(line, " ")
		if len(line) > 0 && line[0] == '"' {
			if content, rest, ok := quoted(line); ok {
				rest = bytes.TrimLeft(rest, " ")
				if len(rest) == 0 {
					return append(into, content)
				}
				if rest[0] == delimiter {
					into, line = append(into, content), rest[1:]
					continue
				}
			}
		}
		k := bytes.IndexByte(line, delimiter)
		if k < 0 {
			return append(into, trim(line))
		}
		into, line = append(into, trim(line[:k])), line[k+1:]
	}
}

func splitRuns(into [][]byte, line []byte) [][]byte {
	for {
		line = bytes.TrimLeft(line, " \t")
		if len(line) == 0 {
			return into
		}
		if line[0] == '"' {
			if content, rest, ok := quoted(line); ok {
				into, line = append(into, content), rest
				continue
			}
		}
		k := bytes.IndexAny(line, " \t")
		if k < 0 {
			return append(into, line)
		}
		into, line = append(into, line[:k]), line[k:]
	}
}

// quoted gives what stands between quotes at the beginning of b.
func quoted(b []byte) (content, rest []byte, ok bool) {
	end := bytes.IndexByte(b[1:], '"')
	if end < 0 {
		return nil, nil, false
	}
	return trim(b[1 : 1+end]), b[2+end:], true
}

// trim takes blanks and no-break spaces off both ends.
func trim(b []byte) []byte {
	b = bytes.Trim(b, " \t")
	b = bytes.TrimPrefix(b, []byte("\u00a0"))
	return bytes.TrimSuffix(b, []byte("\u00a0"))
}

// content is a line without its end and the zero bytes that some loggers
// fill up with.
func content(line []byte) []byte {
	return bytes.Trim(bytes.Trim(line, "\r\n\x00"), " ")
}

// isComment reports a line that is a remark by its first character. A
// semicolon is one unless it is the delimiter.
func isComment(line []byte, delimiter byte) bool {
	switch line[0] {
	case '#', '%', '!':
		return true
	case ';':
		return delimiter != ';'
	case '/':
		return len(line) > 1 && line[1] == '/'
	}
	return false
}
