package chem

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"saggar/chem/data"
)

// tabledParts are the compounds of the tables, as written there, that may follow a dot and a factor. An element alone is
// none of them.
var tabledParts = sync.OnceValue(func() map[string]bool {
	known := map[string]bool{}
	add := func(text string) {
		if len(strings.Trim(text, "0123456789")) > 2 || strings.ContainsFunc(text[1:], unicode.IsUpper) {
			known[text] = true
		}
	}
	for _, row := range data.SimpleOxides() {
		add(row.Formula)
	}
	for _, row := range data.Reactions() {
		add(row.Formula)
		for _, yield := range slices.Concat(row.Reactants, row.Gases, row.Solids) {
			add(yield.Formula)
		}
	}
	return known
})

// hydroxide is that of a metal, which basic carbonates and chlorides are written with.
var hydroxide = regexp.MustCompile(`^[A-Z][a-z]?\(OH\)[2-4]$`)

// isKnownPart reports a compound of the tables or a metal's hydroxide.
func isKnownPart(part string) bool { return tabledParts()[part] || hydroxide.MatchString(part) }

// partAfter is what follows a dot, without its factor, up to the next sign between parts.
func partAfter(text []rune) string {
	part := strings.TrimLeft(string(text), "0123456789.")
	if end := strings.IndexAny(part, ".*"); end >= 0 {
		part = part[:end]
	}
	return part
}

// checkLeadingDot refuses a dot before digits and after an element or bracket without a subscript, as in Fe.95O, where it
// may be a decimal point.
func (p *formulaParser) checkLeadingDot() error {
	if p.peek() != '.' || isDigit(p.rest[p.at-1]) || p.at+1 == len(p.rest) || !isDigit(p.rest[p.at+1]) {
		return nil
	}
	part := partAfter(p.rest[p.at+1:])
	if part == "H2O" || (slices.Contains(dotted, p.order[len(p.order)-1]) && isKnownPart(part)) {
		return nil
	}
	end := p.at + 1
	for end < len(p.rest) && isDigit(p.rest[end]) {
		end++
	}
	return p.fail(p.at, "the dot can be a decimal point or join two parts: write 0%s for a decimal subscript, or * or \u00b7 "+
		"between parts", string(p.rest[p.at:end]))
}

// vulgarFractions are the fractions that are one character, in decimals.
var vulgarFractions = map[rune]string{'\u00bd': "0.5", '\u00bc': "0.25", '\u00be': "0.75", '\u2153': "0.3333", '\u2154': "0.6667"}

// checkCharacters refuses, with what to write instead, characters that no keyboard's formula holds: fractions, letters of
// other scripts and what cannot be seen.
func (p *formulaParser) checkCharacters() error {
	for at, r := range p.rest {
		decimal, vulgar := vulgarFractions[r]
		switch {
		case vulgar:
			return p.fail(at, "a fraction is not read: write %s in place of %c", decimal, r)
		case r == '/' || r == '\u2044' || r == '\u2215':
			return p.fail(at, "a fraction is not read: write %s", p.fractionCure(at))
		case r == '\ufeff' || unicode.Is(unicode.Cf, r):
			return p.fail(at, "%U cannot be seen and is no part of a formula: leave it out, or type the formula anew", r)
		case r > unicode.MaxASCII && unicode.IsLetter(r):
			return p.fail(at, "%q is %U, no Latin letter though it may look like one: type the formula anew", r, r)
		case r > unicode.MaxASCII:
			return p.fail(at, "%q (%U) is unexpected: write elements, brackets, subscripts and . or * between parts", r, r)
		}
	}
	return nil
}

// fractionCure is the decimal of the fraction whose slash stands at a place.
func (p *formulaParser) fractionCure(at int) string {
	from, to := at, at+1
	for from > 0 && isDigit(p.rest[from-1]) {
		from--
	}
	for to < len(p.rest) && isDigit(p.rest[to]) {
		to++
	}
	over, errOver := strconv.ParseFloat(string(p.rest[from:at]), 64)
	under, errUnder := strconv.ParseFloat(string(p.rest[at+1:to]), 64)
	if errOver != nil || errUnder != nil || !(under > 0) || !(over > 0) {
		return "a decimal number such as 0.5"
	}
	return strconv.FormatFloat(math.Round(over/under*1e4)/1e4, 'f', -1, 64) + " in place of " + string(p.rest[from:to])
}
