package chem

import (
	"math"

	"saggar/chem/heat"
)

// Case is one of the two ways in which off-gas is estimated; both are always given.
type Case string

const (
	// Cautious assumes that all that may leave does; it decides.
	Cautious Case = "cautious"
	// Likely assumes that the ideal product keeps what it binds.
	Likely Case = "likely"
)

// event is gas of one kind that one rule sets free.
type event struct {
	species string
	moles   float64
	rule    *rule
	// low is where the gas starts; never above the stage's peak.
	low float64
	// burns marks carbon that the charge brought uncombined or as organic matter: it needs air to become gas.
	burns bool
	ware  bool
}

// firing works one stage in one case on a charge of its own.
type firing struct {
	which       Case
	atmosphere  heat.Atmosphere
	peakCelsius float64
	segments    []heat.Segment
	// temperatures over time are those that the program asks for at the thermocouple; converted is what is known to react,
	// by the reaction's name, where more is known than those.
	temperatures []heat.Point
	converted    map[string]float64
	charge       *charge
	// named is whether the stage names a product; product is as much of it as forms.
	named    bool
	product  Amount
	limiting string
	events   []event
	// sulfatesReduce is set when carbon in a reducing stage takes sulfates apart below their own range.
	sulfatesReduce bool
}

// emit notes gas that leaves.
func (f *firing) emit(e event) {
	if e.moles <= 0 {
		return
	}
	e.low = math.Min(e.rule.LowCelsius, f.peakCelsius)
	f.events = append(f.events, e)
}

// ruleFor is the rule of a phase, nil when it has none or when carbon takes it apart in another way.
func (f *firing) ruleFor(phase Formula) *rule {
	found := rules().byPhase[phase.key()]
	if found != nil && f.sulfatesReduce && phase.Count("S") > 0 && !isElemental(phase, "S") {
		return nil
	}
	return found
}

// share is how much of what a rule applies to breaks down in this firing. The cautious case takes all that begins to; the
// likely one what the tabled rate converts along the temperatures, and without a rate what the range says.
func (f *firing) share(r *rule) float64 {
	converted := f.convertedOf(r)
	switch begins := f.peakCelsius >= r.LowCelsius || converted >= LeastConverted; {
	case !begins:
		return 0
	case f.which == Cautious:
		return 1
	case !r.rated:
		return f.shareByRange(r)
	case f.peakCelsius < r.rate.OneBarCelsius:
		return min(converted, f.shareByRange(r))
	default:
		return converted
	}
}

// convertedOf is the fraction that a rule's rate converts; 0 without a rate.
func (f *firing) convertedOf(r *rule) float64 {
	known, found := f.converted[r.Name]
	switch {
	case found:
		return known
	case r.rated:
		return r.rate.Along(f.temperatures)
	default:
		return 0
	}
}

// shareByRange is how far the peak has passed a rule's range, and all of it where the program holds long enough in the
// hotter half.
func (f *firing) shareByRange(r *rule) float64 {
	if r.soaksOut() && f.heldMinutes(r.middleCelsius()) >= SoakMinutes {
		return 1
	}
	return r.passed(f.peakCelsius)
}

// heldMinutes sums the program's holds at or above a temperature.
func (f *firing) heldMinutes(celsius float64) float64 {
	minutes := 0.0
	for _, segment := range f.segments {
		if segment.ToCelsius >= celsius {
			minutes += segment.HoldMinutes
		}
	}
	return minutes
}

// dry drives the free water off.
func (f *firing) dry(share float64) {
	gone := f.charge.freeWaterMoles * share
	f.charge.freeWaterMoles -= gone
	f.emit(event{species: "H2O", moles: gone, rule: rules().freeWater})
}

// breakDown applies the rules to every phase, and to what it becomes, until nothing more breaks down.
func (f *firing) breakDown() {
	waiting := f.charge.phases
	f.charge.phases = nil
	for range maxBreakDownSteps {
		var next []Amount
		for _, phase := range waiting {
			next = append(next, f.breakDownPhase(phase)...)
		}
		if waiting = next; len(waiting) == 0 {
			return
		}
	}
	for _, phase := range waiting {
		f.charge.put(phase)
	}
}

// maxBreakDownSteps is above the longest chain of rules (a hydrate to its oxide takes four).
const maxBreakDownSteps = 12

// breakDownPhase keeps what stays in the charge and returns the solids that may break down further.
func (f *firing) breakDownPhase(phase Amount) []Amount {
	found := f.ruleFor(phase.Formula)
	if found == nil {
		f.charge.put(f.strip(phase, volatileElements))
		return nil
	}
	share := f.share(found)
	f.charge.put(Amount{phase.Formula, phase.Moles * (1 - share)})
	units := phase.Moles * share * phase.Formula.atoms() / found.formula.atoms()
	for _, gas := range found.gases {
		f.emit(event{species: gas.Formula.String(), moles: units * gas.Moles, rule: found,
			burns: isElemental(phase.Formula, "C")})
	}
	var solids []Amount
	for _, solid := range found.solids {
		if units > 0 {
			solids = append(solids, Amount{solid.Formula, units * solid.Moles})
		}
	}
	return solids
}

// volatileElements leave a phase that has no rule of its own; bindableElements are those of them that leave even a
// product just formed, in the cautious case.
var (
	volatileElements = []string{"H", "C", "N", "S", "F", "Cl"}
	bindableElements = []string{"S", "F", "Cl"}
)

// oxygenTaken is how many oxygen atoms of the phase each atom takes along; a halogen leaves oxygen of the air behind.
var oxygenTaken = map[string]float64{"H": 0.5, "C": 2, "N": 2, "S": 0, "F": -0.5, "Cl": -0.5}

// strip takes the volatile elements out of a phase by the elements' own rules and returns what stays.
func (f *firing) strip(phase Amount, symbols []string) Amount {
	counts := Moles{}
	counts.Add(phase.Formula.counts, 1)
	stripped := false
	for _, symbol := range symbols {
		found := rules().byElement[symbol]
		leaving := counts[symbol] * f.elementShare(symbol)
		if leaving <= 0 {
			continue
		}
		stripped = true
		counts[symbol] -= leaving
		counts["O"] = math.Max(0, counts["O"]-leaving*oxygenTaken[symbol])
		gas := found.gases[0]
		f.emit(event{species: gas.Formula.String(), moles: phase.Moles * leaving * gas.Moles, rule: found,
			burns: symbol == "C" && isOrganic(phase.Formula)})
	}
	if !stripped {
		return phase
	}
	return Amount{phase.Formula.with(counts), phase.Moles}
}

// elementShare is how much of an element leaves a phase without a rule: sulfur only in the cautious case.
func (f *firing) elementShare(symbol string) float64 {
	if symbol == "S" && f.which == Likely {
		return 0
	}
	return f.share(rules().byElement[symbol])
}

// isOrganic reports a compound of carbon with hydrogen, oxygen and nitrogen only.
func isOrganic(f Formula) bool {
	for symbol := range f.counts {
		switch symbol {
		case "C", "H", "O", "N":
		default:
			return false
		}
	}
	return f.Count("C") > 0
}

// fireWare adds what ordinary ware of its own gives off.
func (f *firing) fireWare(grams float64, practice Practice) {
	held := map[string]float64{
		"S": practice.WareSulfurFraction, "C": practice.WareCarbonFraction, "F": practice.WareFluorineFraction,
	}
	for _, r := range rules().ware {
		moles := grams * held[r.Formula] / gramsPerMole(r.Formula) * f.share(r)
		f.emit(event{species: r.gases[0].Formula.String(), moles: moles * r.gases[0].Moles, rule: r,
			burns: r.Formula == "C", ware: true})
	}
}
