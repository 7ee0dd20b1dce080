package form_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/form"
)

func sample() *form.Form {
	return form.New(
		form.Field{Key: "what", Ask: "What?", Choices: []string{"swap", "wash"}},
		form.Field{Key: "parts", Ask: "Which?", Many: true, Check: func(text string) ([]string, error) {
			if text == "x*" {
				return []string{"x1", "x2"}, nil
			}
			if text == "bad" {
				return nil, errors.New("there is no bad")
			}
			return []string{text}, nil
		}},
		form.Field{Key: "wet", Ask: "Wet?", Optional: true, When: func(f *form.Form) bool { return f.Get("what") == "wash" }},
		form.Field{Key: "why", Ask: "Why?"},
	)
}

func TestForm(t *testing.T) {
	f := sample()
	for _, c := range []struct{ key, text, refused string }{
		{"what", "", "what: nothing was said"},
		{"what", "paint", `what: "paint" is not an answer here`},
		{"what", " Wash ", ""},
		{"parts", "done", "parts: nothing was said yet"},
		{"parts", "none", ""}, // a part called so: the field may not be empty, and Check decides
		{"parts", "bad", "parts: there is no bad"},
		{"parts", "x*", ""},
		{"parts", "x1", ""},
		{"parts", "done", ""},
		{"wet", "none", ""},
		{"why", "because", ""},
	} {
		x, ok := f.Next()
		require.True(t, ok)
		require.Equal(t, c.key, x.Key)
		err := f.Answer(c.text)
		if c.refused != "" {
			require.EqualError(t, err, c.refused)
			continue
		}
		require.NoError(t, err)
	}
	_, more := f.Next()
	assert.False(t, more)
	assert.Equal(t, "wash", f.Get("what"))
	assert.Equal(t, []string{"none", "x1", "x2"}, f.All("parts"))
	assert.Empty(t, f.Get("wet"))
	assert.Error(t, f.Answer("more"))
}

func TestTakeAsAFileDoes(t *testing.T) {
	f := sample()
	require.NoError(t, f.Take([]string{"swap"}))
	require.NoError(t, f.Take([]string{"x*", "y"}))
	assert.Equal(t, []string{"x1", "x2", "y"}, f.All("parts"))
	assert.EqualError(t, f.Take([]string{"a", "b"}), "why: it has one answer only")
	assert.NoError(t, f.Take([]string{"a"}), "a field that does not apply is not asked")
}
