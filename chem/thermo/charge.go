package thermo

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
	"saggar/chem/finding"
)

// Portion is some moles of one compound of a charge.
type Portion struct {
	Formula chem.Formula
	Moles   float64
}

// Basis is where the heat of a compound comes from.
type Basis string

const (
	// Tabled figures of the compound itself.
	Tabled Basis = "tabled"
	// SumOfOxides is the sum of the compound's simple oxides (Neumann and Kopp).
	SumOfOxides Basis = "sum of oxides"
	// ByMass is a heat capacity of 1.1 J/g/K (common practice, no source).
	ByMass Basis = "by mass"
)

// HeatSum is the heat that a charge takes up between two temperatures.
type HeatSum struct {
	// Kilojoules is above zero for heating.
	Kilojoules float64
	// Portions are in the order of the charge.
	Portions    []PortionHeat
	Assumptions []string
	Caution     string
}

// PortionHeat is one compound's share of it.
type PortionHeat struct {
	Formula    string
	Kilojoules float64
	Basis      Basis
}

// Bounds of the temperatures of a charge; beyond them a number is a slip of the pen.
const (
	minCelsius = -40.0
	maxCelsius = 2000.0
)

// Charge is a list of compounds whose figures have been looked up. It is immutable and quick: no table is read again.
type Charge struct {
	portions []Portion
	heats    []heatCurve
}

// heatCurve is a compound's enthalpy over all temperatures as a weighted sum of stretches of the tables.
type heatCurve struct {
	basis Basis
	parts []weighted
	// kilojoulesPerMoleKelvin is used where there are no parts.
	kilojoulesPerMoleKelvin float64
}

type weighted struct {
	moles  float64
	pieces []piece
	name   string
}

// NewCharge looks up the compounds of a charge. A compound that the tables do not have is taken as the sum of its simple
// oxides where they have all of those and its oxygen is theirs, bound water counting as steam and carbonate as carbon
// dioxide gas; otherwise by its mass. It returns finding.Faults at "portions[i].formula" and "portions[i].moles".
func NewCharge(portions []Portion) (*Charge, error) {
	var faults finding.Faults
	c := &Charge{portions: slices.Clone(portions)}
	for i, p := range portions {
		field := fmt.Sprintf("portions[%d]", i)
		if p.Formula.IsZero() {
			faults.Add(field+".formula", "is empty", "give a compound such as CaCO3")
			continue
		}
		if !(p.Moles >= 0) || math.IsInf(p.Moles, 0) {
			faults.Add(field+".moles", fmt.Sprintf("%g is no amount", p.Moles), "give a finite number of at least 0")
		}
		c.heats = append(c.heats, curveOf(p.Formula))
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return c, nil
}

// Kilojoules is the heat that the charge takes up from one temperature to another, below zero when it cools. Phase changes
// between the two that the tables have are in it; reactions are not. Outside a compound's range its heat capacity stays
// as it is at the range's end. Temperatures are -40 to 2000 C; others are finding.Faults at "from_celsius" or
// "to_celsius". It allocates nothing.
func (c *Charge) Kilojoules(fromCelsius, toCelsius float64) (float64, error) {
	if err := checkEnds(fromCelsius, toCelsius); err != nil {
		return 0, err
	}
	from, to := Kelvin(fromCelsius), Kelvin(toCelsius)
	sum := 0.0
	for i := range c.heats {
		sum += c.portions[i].Moles * c.heats[i].between(from, to)
	}
	return sum, nil
}

// WithoutReactions is what a sum of heats assumes of reactions; who adds their heats leaves it out.
const WithoutReactions = "heats of reaction are not in it"

// Heat is Kilojoules with each compound's share and what was assumed.
func (c *Charge) Heat(fromCelsius, toCelsius float64) (HeatSum, error) {
	total, err := c.Kilojoules(fromCelsius, toCelsius)
	if err != nil {
		return HeatSum{}, err
	}
	sum := HeatSum{Kilojoules: total, Caution: chem.Caution, Assumptions: []string{
		"sensible heat and the phase changes of pure substances in the tables", WithoutReactions,
	}}
	from, to := Kelvin(fromCelsius), Kelvin(toCelsius)
	for i, p := range c.portions {
		name := p.Formula.String()
		sum.Portions = append(sum.Portions, PortionHeat{name, p.Moles * c.heats[i].between(from, to), c.heats[i].basis})
		for _, assumption := range c.heats[i].assumptions(name, min(from, to), max(from, to)) {
			if !slices.Contains(sum.Assumptions, assumption) {
				sum.Assumptions = append(sum.Assumptions, assumption)
			}
		}
	}
	return sum, nil
}

func checkEnds(fromCelsius, toCelsius float64) error {
	var faults finding.Faults
	for _, end := range []struct {
		field string
		value float64
	}{{"from_celsius", fromCelsius}, {"to_celsius", toCelsius}} {
		if !(end.value >= minCelsius && end.value <= maxCelsius) {
			faults.Add(end.field, fmt.Sprintf("%g is no temperature of a charge", end.value),
				fmt.Sprintf("give %g to %g", minCelsius, maxCelsius))
		}
	}
	return faults.Err()
}

// between is in kJ/mol.
func (h *heatCurve) between(from, to float64) float64 {
	if len(h.parts) == 0 {
		return h.kilojoulesPerMoleKelvin * (to - from)
	}
	sum := 0.0
	for i := range h.parts {
		sum += h.parts[i].moles * (enthalpy(h.parts[i].pieces, to) - enthalpy(h.parts[i].pieces, from))
	}
	return sum
}

// enthalpy is in kJ/mol; beyond the ends of the pieces the heat capacity stays what it is at the end.
func enthalpy(pieces []piece, kelvin float64) float64 {
	p := &pieces[0]
	for i := range pieces {
		if p = &pieces[i]; kelvin <= p.high {
			break
		}
	}
	held := min(max(kelvin, p.low), p.high)
	h := p.kilojoules(held)
	if kelvin != held {
		h += p.heatCapacity(held) * gasConstant / 1000 * (kelvin - held)
	}
	return h
}

func (h *heatCurve) assumptions(name string, low, high float64) []string {
	var list []string
	switch h.basis {
	case SumOfOxides:
		list = append(list, name+" is not tabled: taken as the sum of its simple oxides (Neumann and Kopp), bound water as steam, "+
			"carbonate as carbon dioxide gas")
	case ByMass:
		return []string{fmt.Sprintf("%s and its oxides are not tabled: %g J/g/K (common practice, no source)", name, fallbackJoulesPerGramKelvin)}
	}
	for _, part := range h.parts {
		first, last := part.pieces[0], part.pieces[len(part.pieces)-1]
		if low < first.low-1e-9 {
			list = append(list, fmt.Sprintf("%s below %s C: heat capacity held at its value there", part.name, short(Celsius(first.low))))
		}
		if high > last.high+1e-9 {
			list = append(list, fmt.Sprintf("%s above %s C: heat capacity held at its value there, no melting or breaking down",
				part.name, short(Celsius(last.high))))
		}
		list = append(list, changes(part, low, high)...)
	}
	return list
}

// changes names the phase changes that the heat runs through.
func changes(part weighted, low, high float64) []string {
	var list []string
	for i := 1; i < len(part.pieces); i++ {
		before, after := &part.pieces[i-1], &part.pieces[i]
		if before.label() != after.label() && low < after.low && high > after.low {
			list = append(list, fmt.Sprintf("%s goes from %s to %s at %s C", part.name, before.label(), after.label(),
				short(math.Round(Celsius(after.low)*10)/10)))
		}
	}
	return list
}

var fallbackJoulesPerGramKelvin = data.ThermoConstant("fallback heat capacity")

func curveOf(f chem.Formula) heatCurve {
	if c := tables().byKey[compositionKey(f)]; c != nil {
		return heatCurve{basis: Tabled, parts: []weighted{{1, c.stretches(), f.String()}}}
	}
	if parts := oxideParts(f); parts != nil {
		return heatCurve{basis: SumOfOxides, parts: parts}
	}
	return heatCurve{basis: ByMass, kilojoulesPerMoleKelvin: f.MolarMass() * fallbackJoulesPerGramKelvin / 1000}
}

// stretches are the condensed phases and, where they end in a liquid whose gas is tabled, the gas above its boiling point.
func (c *compound) stretches() []piece {
	if c.best() == nil {
		return c.gas.pieces
	}
	pieces := slices.Clone(c.best().pieces)
	if c.gas == nil || pieces[len(pieces)-1].phase != Liquid {
		return pieces
	}
	boils := boilingKelvin(c.best(), c.gas)
	pieces = slices.DeleteFunc(pieces, func(p piece) bool { return p.low >= boils })
	pieces[len(pieces)-1].high = boils
	for _, p := range c.gas.pieces {
		if p.high > boils {
			p.low = max(p.low, boils)
			pieces = append(pieces, p)
		}
	}
	return pieces
}

// solids are the forms up to the melting point: an oxide that is bound in a compound does not melt by itself.
func (c *compound) solids() []piece {
	return slices.DeleteFunc(slices.Clone(c.best().pieces), func(p piece) bool { return p.phase == Liquid })
}

// HasLiquid reports whether the tables have a compound's liquid, so that the heat of a charge counts that of its melting.
func HasLiquid(f chem.Formula) bool {
	c := tables().byKey[compositionKey(f)]
	return c != nil && slices.ContainsFunc(c.stretches(), func(p piece) bool { return p.phase == Liquid })
}

// boilingKelvin is where liquid and gas have the same Gibbs energy at 1 atm, by bisection.
func boilingKelvin(liquid, gas *Substance) float64 {
	low, high := liquid.RangeKelvin()
	for range 60 {
		middle := (low + high) / 2
		condensed, _, _ := liquid.Reduced(middle)
		vapour, _, _ := gas.Reduced(middle)
		if condensed < vapour+math.Log(atmosphereBar) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// boundOxides are the oxides of elements that leave as gas; see NewCharge.
var boundOxides = map[string]string{"H": "H2O", "C": "CO2", "S": "SO3"}

// oxideParts splits a compound into its simple oxides; nil when one is not tabled or the oxygen does not come out.
func oxideParts(f chem.Formula) []weighted {
	oxygen, parts := f.Count("O"), []weighted(nil)
	for _, e := range f.Elements() {
		if e.Symbol == "O" {
			continue
		}
		name := oxideOf(e.Symbol)
		found := tables().byText[name]
		if found == nil {
			return nil
		}
		moles := e.Count / found.formula.Count(e.Symbol)
		oxygen -= moles * found.formula.Count("O")
		var pieces []piece
		if _, bound := boundOxides[e.Symbol]; bound {
			pieces = found.gas.pieces
		} else {
			pieces = found.solids()
		}
		parts = append(parts, weighted{moles, pieces, name + " in " + f.String()})
	}
	if math.Abs(oxygen) > oxygenTolerance*f.Count("O") || f.Count("O") == 0 {
		return nil
	}
	return parts
}

// oxygenTolerance is how much of a compound's oxygen may miss from its oxides.
const oxygenTolerance = 1e-3

// simpleOxides is the table, read once.
var simpleOxides = sync.OnceValue(data.SimpleOxides)

func oxideOf(symbol string) string {
	if name, ok := boundOxides[symbol]; ok {
		return name
	}
	for _, oxide := range simpleOxides() {
		if oxide.Element == symbol {
			return strings.TrimSpace(oxide.Formula)
		}
	}
	return ""
}
