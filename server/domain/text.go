package domain

import (
	"strings"
	"unicode"
)

// OneLine replaces control characters and marks of direction, so that no text that somebody stored begins a line or a header
// of its own, or turns one around.
func OneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
			return ' '
		}
		return r
	}, text)
}
