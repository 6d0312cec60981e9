package chem

import (
	"fmt"
	"regexp"
	"unicode"
	"unicode/utf8"

	"saggar/chem/finding"
)

// maxTitleRunes bounds a title.
const maxTitleRunes = 200

var idPattern = regexp.MustCompile(`^[a-z][a-z0-9-]{0,62}$`)

// CheckID notes an identifier that is not 1 to 63 lower-case letters, digits and hyphens starting with a letter.
func CheckID(faults *finding.Faults, field, id string) {
	if !idPattern.MatchString(id) {
		faults.Add(field, fmt.Sprintf("%q is no identifier", shortened(id)),
			"use 1 to 63 lower-case letters, digits and hyphens, a letter first")
	}
}

// CheckTitle notes a title that is too long, not UTF-8, or holds control or other invisible formatting characters.
func CheckTitle(faults *finding.Faults, field, title string) {
	switch {
	case !utf8.ValidString(title):
		faults.Add(field, "is not UTF-8 text", "write plain text")
	case utf8.RuneCountInString(title) > maxTitleRunes:
		faults.Add(field, fmt.Sprintf("is %d characters long", utf8.RuneCountInString(title)),
			fmt.Sprintf("use at most %d", maxTitleRunes))
	}
	for _, r := range title {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
			faults.Add(field, fmt.Sprintf("holds the control character U+%04X", r), "write plain text on one line")
			return
		}
	}
}

func shortened(text string) string {
	if len(text) > 80 {
		return text[:80] + "..."
	}
	return text
}
