package entry

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// hidden lists the characters that an entry writes as an escape: controls,
// format characters, bidirectional marks and overrides, line and paragraph
// separators, tags. The list is part of the format and never follows a newer
// edition of Unicode, since that would change what old entries should be.
var hidden = [...][2]rune{
	{0x0000, 0x001F}, {0x007F, 0x009F}, {0x00AD, 0x00AD}, {0x0600, 0x0605},
	{0x061C, 0x061C}, {0x06DD, 0x06DD}, {0x070F, 0x070F}, {0x0890, 0x0891},
	{0x08E2, 0x08E2}, {0x180E, 0x180E}, {0x200B, 0x200F}, {0x2028, 0x202E},
	{0x2060, 0x206F}, {0xFEFF, 0xFEFF}, {0xFFF9, 0xFFFB}, {0x110BD, 0x110BD},
	{0x110CD, 0x110CD}, {0x13430, 0x1343F}, {0x1BCA0, 0x1BCA3},
	{0x1D173, 0x1D17A}, {0xE0000, 0xE007F},
}

func isHidden(r rune) bool {
	if r >= 0x20 && r < 0x7F {
		return false
	}
	for _, span := range hidden {
		if r < span[0] {
			return false
		}
		if r <= span[1] {
			return true
		}
	}
	return false
}

// Escape writes text so that it fits on one line and shows every character:
// \n \r \t \\ and \u{HEX} (upper case, no leading zeros) for the hidden ones.
// Bytes that are not UTF-8 are an error.
func Escape(text string) (string, error) {
	plain := true
	for i := 0; i < len(text) && plain; i++ {
		plain = text[i] >= 0x20 && text[i] < 0x7F && text[i] != '\\'
	}
	if plain {
		return text, nil
	}
	if !utf8.ValidString(text) {
		return "", fmt.Errorf("%.40q is not valid UTF-8", text)
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case r == '\\':
			b.WriteString(`\\`)
		case isHidden(r):
			fmt.Fprintf(&b, `\u{%X}`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String(), nil
}

// Unescape is the inverse of [Escape] and accepts only what it prints.
func Unescape(text string) (string, error) {
	if !utf8.ValidString(text) {
		return "", fmt.Errorf("%.40q is not valid UTF-8", text)
	}
	var b strings.Builder
	for rest := text; rest != ""; {
		i := strings.IndexByte(rest, '\\')
		if i < 0 {
			b.WriteString(rest)
			break
		}
		b.WriteString(rest[:i])
		r, length, err := unescapeOne(rest[i:])
		if err != nil {
			return "", err
		}
		b.WriteRune(r)
		rest = rest[i+length:]
	}
	plain := b.String()
	if again, err := Escape(plain); err != nil || again != text {
		return "", fmt.Errorf("%.40q is not escaped as entries escape: should be %.40q", text, again)
	}
	return plain, nil
}

// unescapeOne reads the escape at the start of text; length counts its bytes.
func unescapeOne(text string) (r rune, length int, err error) {
	bad := fmt.Errorf(`%.12q is not an escape: \n \r \t \\ and \u{HEX} are`, text)
	if len(text) < 2 {
		return 0, 0, bad
	}
	switch text[1] {
	case 'n':
		return '\n', 2, nil
	case 'r':
		return '\r', 2, nil
	case 't':
		return '\t', 2, nil
	case '\\':
		return '\\', 2, nil
	case 'u':
		end := strings.IndexByte(text, '}')
		if !strings.HasPrefix(text, `\u{`) || end < 4 || end > 9 {
			return 0, 0, bad
		}
		code, err := strconv.ParseUint(text[3:end], 16, 32)
		if err != nil || !utf8.ValidRune(rune(code)) {
			return 0, 0, bad
		}
		return rune(code), end + 1, nil
	}
	return 0, 0, bad
}
