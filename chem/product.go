package chem

import (
	"math"
	"slices"

	"saggar/chem/heat"
)

// pool is what takes part in forming a product.
type pool struct {
	phases []Amount
	moles  Moles
	carbon float64 // uncombined carbon in it, moles
}

// form makes the product from the phases that share an element with it, until one element runs out. What is left of
// them becomes simple oxides, uncombined sulfur and carbon, and gas. Phases that do not break down at this heat keep out.
func (f *firing) form(product Formula) {
	if product.IsZero() {
		return
	}
	f.named = true
	reacting, bystanders := f.gather(product)
	units, limiting := f.limit(product, reacting.moles)
	f.limiting = limiting
	if units <= negligible {
		return
	}
	f.charge.phases = bystanders
	f.product = Amount{product, units}
	f.release(reacting, product, units)
}

func (f *firing) gather(product Formula) (pool, []Amount) {
	symbols := characteristic(product)
	reacting := pool{moles: Moles{}}
	var bystanders []Amount
	for _, phase := range f.charge.phases {
		shares := slices.ContainsFunc(symbols, func(s string) bool { return phase.Formula.Count(s) > 0 })
		found := f.ruleFor(phase.Formula)
		if !shares || (found != nil && f.peakCelsius < found.LowCelsius) {
			bystanders = append(bystanders, phase)
			continue
		}
		reacting.phases = append(reacting.phases, phase)
		reacting.moles.Add(phase.Formula.counts, phase.Moles)
		if isElemental(phase.Formula, "C") {
			reacting.carbon += phase.Moles * phase.Formula.Count("C")
		}
	}
	return reacting, bystanders
}

// characteristic lists the elements by which a phase counts as a reactant: all but oxygen and hydrogen, if there are any.
func characteristic(product Formula) []string {
	symbols := product.counts.Symbols()
	named := slices.DeleteFunc(slices.Clone(symbols), func(s string) bool { return s == "O" || s == "H" })
	if len(named) == 0 {
		return symbols
	}
	return named
}

// limit returns how many formula units can form and the element that allows no more. Air gives oxygen in an oxidising
// stage; elsewhere only the oxygen that carbon and hydrogen do not take along is there.
func (f *firing) limit(product Formula, have Moles) (float64, string) {
	units, limiting := math.Inf(1), ""
	for _, symbol := range product.counts.Symbols() {
		held := have[symbol]
		if symbol == "O" {
			if f.atmosphere == heat.Oxidising {
				continue
			}
			held -= f.oxygenLeaving(product, have)
		}
		if possible := math.Max(0, held) / product.Count(symbol); possible < units {
			units, limiting = possible, symbol
		}
	}
	if math.IsInf(units, 1) {
		return 0, ""
	}
	return units, limiting
}

// oxygenLeaving is the oxygen that goes with the carbon and hydrogen of the pool, unless the product holds them.
func (f *firing) oxygenLeaving(product Formula, have Moles) float64 {
	leaving := 0.0
	for _, symbol := range []string{"C", "H"} {
		if product.Count(symbol) == 0 {
			leaving += have[symbol] * oxygenTaken[symbol]
		}
	}
	return leaving
}

// release places what the product does not take.
func (f *firing) release(reacting pool, product Formula, units float64) {
	left := Moles{}
	left.Add(reacting.moles, 1)
	left.Add(product.counts, -units)
	for _, symbol := range left.Symbols() {
		// What is left of the limiting element by rounding is none.
		moles := left[symbol]
		if moles <= reacting.moles[symbol]*negligible {
			continue
		}
		switch symbol {
		case "O":
		case "H":
			f.releaseShared(reacting, symbol, moles)
		case "C":
			uncombined := math.Min(moles, reacting.carbon)
			f.charge.put(Amount{elemental("C"), uncombined})
			f.releaseShared(reacting, symbol, moles-uncombined)
		case "S", "N", "F", "Cl":
			f.charge.put(Amount{elemental(symbol), moles})
		default:
			f.charge.put(rules().asOxide(symbol, moles))
		}
	}
}

// releaseShared gives off an element of the pool, each phase its part at its own temperatures.
func (f *firing) releaseShared(reacting pool, symbol string, moles float64) {
	held := reacting.moles[symbol]
	if symbol == "C" {
		held -= reacting.carbon
	}
	if held <= 0 || moles <= 0 {
		return
	}
	gas := rules().byElement[symbol].gases[0]
	for _, phase := range reacting.phases {
		if symbol == "C" && isElemental(phase.Formula, "C") {
			continue
		}
		found := f.ruleFor(phase.Formula)
		if found == nil {
			found = rules().byElement[symbol]
		}
		part := phase.Moles * phase.Formula.Count(symbol) / held
		f.emit(event{species: gas.Formula.String(), moles: moles * part * gas.Moles, rule: found,
			burns: symbol == "C" && isOrganic(phase.Formula)})
	}
}

func elemental(symbol string) Formula { return Formula{}.with(Moles{symbol: 1}) }
