package yamlfile_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/yamlfile"
)

// endless counts what is read of it.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'a'
	}
	e.read += len(p)
	return len(p), nil
}

func TestReadHasALimit(t *testing.T) {
	const tooLarge = "f.yaml: is larger than 1048576 bytes (1 MiB), too large for such a file\n"
	var source endless
	f, list := yamlfile.Read("f.yaml", &source)
	assert.Equal(t, tooLarge, list.String())
	assert.Nil(t, f.Root)
	assert.LessOrEqual(t, source.read, yamlfile.MaxSize+1)

	_, list = yamlfile.Parse("f.yaml", make([]byte, 100<<20))
	assert.Equal(t, tooLarge, list.String())

	exact := "a: " + strings.Repeat("x", yamlfile.MaxSize-4) + "\n"
	_, list = yamlfile.Read("f.yaml", strings.NewReader(exact))
	assert.Empty(t, list)
	_, list = yamlfile.Read("f.yaml", strings.NewReader(exact+"\n"))
	assert.Equal(t, tooLarge, list.String())

	f, list = yamlfile.Read("f.yaml", iotest.ErrReader(errors.New("input/output error")))
	assert.Equal(t, "f.yaml: cannot be read: input/output error\n", list.String())
	assert.Equal(t, list, f.Decode(&car{}))
	_, list = yamlfile.Read("f.yaml", iotest.DataErrReader(strings.NewReader("a: 1\n")))
	assert.Empty(t, list)
}

func TestDepth(t *testing.T) {
	flow := func(n int) string { return "a: " + strings.Repeat("[", n) + strings.Repeat("]", n) + "\n" }
	block := func(n int) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "%sa:\n", strings.Repeat(" ", i))
		}
		return b.String() + strings.Repeat(" ", n) + "a: 1\n"
	}
	parse(t, flow(60))
	parse(t, block(60))
	hostile := map[string]string{
		"lists in brackets": flow(10000), "maps in braces": "a: " + strings.Repeat("{a: ", 10000), "open brackets": strings.Repeat("[", 10000),
		"lists": strings.Repeat("- ", 10000) + "a\n", "keys": strings.Repeat("? ", 10000) + "a\n",
		"lines": block(1000), "just too deep": flow(yamlfile.MaxDepth + 1), "a megabyte of brackets": strings.Repeat("[", yamlfile.MaxSize),
	}
	for name, text := range hostile {
		begin := time.Now()
		_, list := yamlfile.Parse("f.yaml", []byte(text))
		require.NotEmpty(t, list, name)
		found := false
		for _, p := range list {
			found = found || p.Message == "maps and lists are nested more than 64 deep"
		}
		assert.True(t, found, "%s: %s", name, list)
		assert.Less(t, time.Since(begin), 10*time.Second, name)
	}
}

func TestAliasBomb(t *testing.T) {
	var b strings.Builder
	b.WriteString("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n")
	for i := 1; i < 30; i++ {
		alias := fmt.Sprintf("*a%d", i-1)
		fmt.Fprintf(&b, "a%d: &a%d [%s]\n", i, i, strings.Join([]string{alias, alias, alias, alias, alias, alias, alias, alias, alias, alias}, ", "))
	}
	_, list := yamlfile.Parse("f.yaml", []byte(b.String()))
	require.Len(t, list, 101)
	assert.Equal(t, "f.yaml:1:5: has an anchor (&a0), which is not read; delete it and write the values out where they are used", list[0].Error())
	assert.Equal(t, "f.yaml:2:10: is an alias (*a0), which is not read; write the values out", list[2].Error())
	assert.Equal(t, "f.yaml: has 220 faults more", list[100].Error())
}

// Large files that are made to be slow. The time is that of a hang.
func TestSlowFiles(t *testing.T) {
	fill := func(unit string) string { return strings.Repeat(unit, yamlfile.MaxSize/4/len(unit)) }
	for name, text := range map[string]string{
		"short lines":     fill("- a\n"),
		"one key":         fill("a: b\n"),
		"anchors":         fill("- &a b\n"),
		"comments":        fill("#\n") + "a: 1\n",
		"empty items":     "[" + fill("[],") + "]\n",
		"quotes":          fill("- 'a'\n"),
		"escapes":         `a: "` + fill(`\n`) + "\"\n",
		"no line break":   "a: " + fill("x"),
		"colons":          fill("a:"),
		"question marks":  fill("?\n"),
		"folded":          "a: >\n" + fill("  x\n"),
		"folded, blank":   "a: >\n" + fill("\n") + "  x\n",
		"one long key":    fill("k") + ": 1\n",
		"tabs":            fill("\t\n"),
		"open quotes":     fill("'"),
		"percent":         fill("%"),
		"document marks":  fill("---\n"),
		"document ends":   fill("...\n"),
		"control letters": fill("\x01\n"),
	} {
		begin := time.Now()
		f, list := yamlfile.Parse("f.yaml", []byte(text))
		assert.Less(t, time.Since(begin), 20*time.Second, name)
		assert.LessOrEqual(t, len(list), 101, name)
		assert.True(t, f.Root != nil || list.Errors(), name)
		for _, p := range list {
			require.Less(t, len(p.Message)+len(p.Hint)+len(p.Excerpt()), 2000, name)
		}
	}
}
