package chem

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

// Bounds of a formula's text, so that no input costs more than a moment.
const (
	maxFormulaBytes   = 200
	maxFormulaNesting = 16
	maxSubscript      = 10000.0
	leastSubscript    = 1e-6
)

// FormulaError says where and why a text is no formula.
type FormulaError struct {
	Text string
	// Position is the character at fault, from 1; 0 when the text as a whole is at fault.
	Position int
	Problem  string
}

// Error names the formula, the position and the problem.
func (e *FormulaError) Error() string {
	if e.Position == 0 {
		return fmt.Sprintf("formula %q: %s", e.Text, e.Problem)
	}
	return fmt.Sprintf("formula %q, character %d: %s", e.Text, e.Position, e.Problem)
}

// plainFormula writes subscript digits and the signs between parts of a formula in their ASCII form.
var plainFormula = strings.NewReplacer("₀", "0", "₁", "1", "₂", "2", "₃", "3", "₄", "4", "₅", "5", "₆", "6", "₇", "7",
	"₈", "8", "₉", "9", "·", "*", "•", "*", "∙", "*", "⋅", "*")

// ParseFormula reads a formula such as "Al2Si2O5(OH)4", "CaSO4.2H2O", "Fe0.95O" or "Al2O3*2SiO2". Brackets nest;
// subscripts may be decimal; parts such as the water of a hydrate are joined by '.', '·' or '*' and may carry a factor.
//
// A '.' between digits is a decimal point, except that it joins two parts before water up to the part's end
// ("CaCl2.6H2O"), and after the subscript of oxygen or of a bracket when a compound of the tables or a metal's hydroxide
// follows ("Al2O3.2SiO2"). Where it could be either, as after a halogen or sulfur or before anything else, it is refused,
// and so is a number that starts with the dot ("Fe.95O"), unless water follows, or one of those compounds after oxygen, a
// halogen or sulfur. A number that starts with 0 is always decimal.
//
// It returns a *FormulaError for anything else, among it an unknown element or one without a standard atomic weight, and
// characters that look like others.
func ParseFormula(text string) (Formula, error) {
	if known, ok := parsed.find(text); ok {
		return known, nil
	}
	formula, err := parseFormula(text)
	if err == nil {
		parsed.keep(text, formula)
	}
	return formula, err
}

// maxParsed bounds how many formulas are remembered.
const maxParsed = 4096

// parsed remembers what texts were read as: a charge's few formulas are asked for hundreds of times. It changes no answer.
var parsed = parsedFormulas{known: map[string]Formula{}}

type parsedFormulas struct {
	mutex sync.RWMutex
	known map[string]Formula
}

func (p *parsedFormulas) find(text string) (Formula, bool) {
	p.mutex.RLock()
	defer p.mutex.RUnlock()
	formula, ok := p.known[text]
	return formula, ok
}

func (p *parsedFormulas) keep(text string, formula Formula) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if len(p.known) >= maxParsed {
		clear(p.known)
	}
	p.known[strings.Clone(text)] = formula
}

func parseFormula(text string) (Formula, error) {
	if !utf8.ValidString(text) {
		return Formula{}, &FormulaError{Text: strings.ToValidUTF8(text, "?"), Problem: "is not UTF-8 text"}
	}
	if len(text) > maxFormulaBytes {
		problem := fmt.Sprintf("is %d bytes long, at most %d are read", len(text), maxFormulaBytes)
		return Formula{}, &FormulaError{Text: text[:20] + "...", Problem: problem}
	}
	trimmed := strings.TrimSpace(text)
	p := &formulaParser{text: trimmed, rest: []rune(plainFormula.Replace(trimmed))}
	if err := p.checkCharacters(); err != nil {
		return Formula{}, err
	}
	counts, err := p.parts()
	if err != nil {
		return Formula{}, err
	}
	return newFormula(trimmed, p.order, counts), nil
}

// formulaParser is a recursive descent over the characters; one step reads one rule of the grammar.
type formulaParser struct {
	text  string
	rest  []rune
	at    int
	order []string
}

func (p *formulaParser) fail(at int, format string, args ...any) error {
	return &FormulaError{Text: p.text, Position: at + 1, Problem: fmt.Sprintf(format, args...)}
}

func (p *formulaParser) peek() rune {
	if p.at < len(p.rest) {
		return p.rest[p.at]
	}
	return 0
}

func (p *formulaParser) parts() (Moles, error) {
	if len(p.rest) == 0 {
		return nil, &FormulaError{Text: p.text, Problem: "is empty: write one such as CaCO3"}
	}
	total := Moles{}
	for {
		factor := 1.0
		if isDigit(p.peek()) {
			var err error
			if factor, err = p.number(true); err != nil {
				return nil, err
			}
		}
		part, err := p.units(0)
		if err != nil {
			return nil, err
		}
		total.Add(part, factor)
		if p.at == len(p.rest) {
			return total, p.checkSize(total)
		}
		if !isPartSign(p.peek()) {
			return nil, p.fail(p.at, "%q is unexpected: write elements, brackets, subscripts and . or * between parts",
				p.peek())
		}
		if err := p.checkLeadingDot(); err != nil {
			return nil, err
		}
		p.at++
	}
}

func (p *formulaParser) checkSize(counts Moles) error {
	for symbol, count := range counts {
		if count > maxSubscript {
			return &FormulaError{Text: p.text, Problem: fmt.Sprintf("%g atoms of %s, at most %g are read",
				count, symbol, maxSubscript)}
		}
	}
	return nil
}

// units reads elements and groups up to a closing bracket, a part sign or the end.
func (p *formulaParser) units(depth int) (Moles, error) {
	start, counts := p.at, Moles{}
	for {
		unit, err := p.unit(depth)
		if err != nil {
			return nil, err
		}
		if unit == nil {
			break
		}
		factor := 1.0
		if isDigit(p.peek()) {
			if factor, err = p.number(false); err != nil {
				return nil, err
			}
		}
		counts.Add(unit, factor)
	}
	if len(counts) > 0 {
		return counts, nil
	}
	if p.at == len(p.rest) {
		return nil, p.fail(start, "ends where an element is expected")
	}
	return nil, p.fail(start, "%q is no element: an element starts with a capital letter, such as Ca", p.rest[start])
}

// unit reads one element or bracketed group; nil when neither comes next.
func (p *formulaParser) unit(depth int) (Moles, error) {
	next := p.peek()
	closing, opens := map[rune]rune{'(': ')', '[': ']', '{': '}'}[next]
	if !opens {
		if next >= 'A' && next <= 'Z' {
			return p.element()
		}
		return nil, nil
	}
	if depth >= maxFormulaNesting {
		return nil, p.fail(p.at, "brackets nest deeper than %d", maxFormulaNesting)
	}
	opened := p.at
	p.at++
	group, err := p.units(depth + 1)
	if err != nil {
		return nil, err
	}
	if p.peek() != closing {
		return nil, p.fail(opened, "the bracket is not closed by %q", closing)
	}
	p.at++
	return group, nil
}

func (p *formulaParser) element() (Moles, error) {
	start := p.at
	p.at++
	for p.peek() >= 'a' && p.peek() <= 'z' {
		p.at++
	}
	symbol := string(p.rest[start:p.at])
	row, known := elements()[symbol]
	if !known {
		return nil, p.fail(start, "there is no element %s", symbol)
	}
	if row.GramsPerMole == 0 {
		return nil, p.fail(start, "%s (%s) has no standard atomic weight, so no molar mass can be given", symbol, row.Name)
	}
	p.order = append(p.order, symbol)
	return Moles{symbol: 1}, nil
}

// number reads a subscript or, leading a part, a factor, which cannot be followed by the dot of another part.
func (p *formulaParser) number(leads bool) (float64, error) {
	start := p.at
	p.digits()
	if p.peek() == '.' && p.at+1 < len(p.rest) && isDigit(p.rest[p.at+1]) {
		decimal, err := p.isDecimalPoint(start, leads)
		if err != nil {
			return 0, err
		}
		if decimal {
			p.at++
			p.digits()
		}
	}
	value, err := strconv.ParseFloat(string(p.rest[start:p.at]), 64)
	if err != nil || value > maxSubscript {
		return 0, p.fail(start, "the number is above %g", maxSubscript)
	}
	if value <= 0 {
		return 0, p.fail(start, "the number must be above zero")
	}
	if value < leastSubscript {
		return 0, p.fail(start, "the number is below 0.000001")
	}
	return value, nil
}

func (p *formulaParser) digits() {
	for isDigit(p.peek()) {
		p.at++
	}
}

// isDecimalPoint decides what the '.' at the current place is, with digits on both sides of it.
func (p *formulaParser) isDecimalPoint(start int, leads bool) (bool, error) {
	whole := string(p.rest[start:p.at])
	after := strings.TrimLeft(string(p.rest[p.at+1:]), "0123456789")
	if leads || strings.Trim(whole, "0") == "" || after == "" || strings.ContainsRune("*)]}", rune(after[0])) {
		return true, nil
	}
	part := partAfter(p.rest[p.at+1:])
	if part == "H2O" {
		return false, nil
	}
	closed := strings.ContainsRune(")]}", p.rest[start-1])
	last := p.order[len(p.order)-1]
	if !closed && !slices.Contains(dotted, last) {
		return true, nil
	}
	if (closed || last == "O") && isKnownPart(part) {
		return false, nil
	}
	return false, p.fail(p.at, "the dot can be a decimal point or join two parts: write * or \u00b7 between parts, "+
		"or the element or bracket with the decimal subscript last")
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

func isPartSign(r rune) bool { return r == '.' || r == '*' }
