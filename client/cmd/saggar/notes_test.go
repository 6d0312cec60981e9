package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWrappedTextKeepsItsWordsAndTheWidth(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		words := rapid.SliceOf(rapid.StringMatching(`[a-zäé0-9]{1,12}`)).Draw(r, "words")
		width := rapid.IntRange(1, 30).Draw(r, "width")
		lines := wrap(strings.Join(words, "  "), width)
		require.Equal(r, strings.Join(words, " "), strings.Join(lines, " "))
		for i, line := range lines {
			require.True(r, utf8.RuneCountInString(line) <= width || !strings.Contains(line, " "), line)
			if i > 0 { // no line is broken early
				first, _, _ := strings.Cut(line, " ")
				require.Greater(r, utf8.RuneCountInString(lines[i-1]+" "+first), width)
			}
		}
	})
}

func TestANumberOutsideItsRangeIsRefusedAndTheFlagStays(t *testing.T) {
	for name, c := range map[string]struct {
		flag     *numberFlag
		good     []string
		bad      []string
		wantHelp string
	}{
		"both ends included": {
			between(0, 1, 0.5), []string{"0", "1", "1e-3"}, []string{"-0.001", "1.001", "NaN", "Inf", "", "x"}, "from 0 to 1",
		},
		"low end excluded": {
			aboveZero(10), []string{"0.001", "10"}, []string{"0", "-1", "10.1", "nan", "+Inf"}, "above 0, at most 10",
		},
	} {
		for _, text := range c.good {
			assert.NoError(t, c.flag.Set(text), "%s: %s", name, text)
		}
		before := c.flag.value
		for _, text := range c.bad {
			assert.ErrorContains(t, c.flag.Set(text), c.wantHelp, "%s: %s", name, text)
			assert.Equal(t, before, c.flag.value)
		}
	}
}
