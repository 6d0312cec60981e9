package hazard

import (
	"math"
	"slices"
	"sync"

	"saggar/chem"
	"saggar/chem/data"
)

// Groups of elements.
var (
	nonMetals = []string{"H", "He", "C", "N", "O", "F", "Ne", "P", "S", "Cl", "Ar", "Se", "Br", "Kr", "I", "Xe"}
	alkali    = []string{"Li", "Na", "K", "Rb", "Cs"}
	earths    = []string{"Ca", "Sr", "Ba"}
	// transition metals hold a nitrosyl beside cyanide
	transition = []string{"Mn", "Fe", "Co", "Ni", "Ru", "Os"}
)

// Bounds of sulfur's state: sulfides lie below the first, sulfites and thiosulfates below the second.
const (
	mostSulfideState = 1.5
	mostSulfiteState = 4.5
)

func sulfurs(c *compound) []Trait {
	switch {
	case c.n("S") == 0:
		return nil
	case c.isElement("S"):
		return []Trait{Sulfur}
	}
	state, known := c.state("S", low)
	if !known || c.n("S") < leastShareOfOxygen*c.dryOxygen() {
		if c.writes("SO4") {
			return []Trait{Sulfate}
		}
		return []Trait{Sulfide}
	}
	switch {
	case state < mostSulfideState:
		return []Trait{Sulfide}
	case state < mostSulfiteState:
		return []Trait{Sulfite}
	default:
		return []Trait{Sulfate}
	}
}

// mostOrganicState is below carbonate, 4, and above oxalate, 3.
const mostOrganicState = 3.5

// carbons finds the element and organic matter. Compounds of carbon without hydrogen or oxygen are no fuel worth a rule.
func carbons(c *compound) []Trait {
	switch {
	case c.isElement("C"):
		return []Trait{Carbon}
	case c.isOrganic():
		return []Trait{Organic}
	default:
		return nil
	}
}

func (c *compound) isOrganic() bool {
	if c.n("C") == 0 || c.sum("H", "O") == 0 || c.isCyanide() {
		return false
	}
	if c.n("C") < 2*leastShareOfOxygen*c.dryOxygen() {
		return false
	}
	state, known := c.state("C", low)
	return known && state < mostOrganicState
}

// kinds finds what a metal does as a powder.
var kinds = sync.OnceValue(func() map[string]string {
	bySymbol := map[string]string{}
	for _, m := range data.Metals() {
		bySymbol[m.Element] = m.Kind
	}
	return bySymbol
})

// MetalKind is the kind of a metal or alloy (data.MetalKinds), "" for anything else: the most dangerous kind of which,
// with those above it, it holds at least half by mass. A metal that the table does not know counts as energetic.
func MetalKind(formula chem.Formula) string {
	if formula.IsZero() {
		return ""
	}
	return newCompound(formula).metalKind()
}

// IsTame reports a kind of metal that takes no oxygen from oxides with much heat, however fine its powder is.
func IsTame(kind string) bool { return kind == data.BaseMetal || kind == data.NobleMetal }

func (c *compound) metalKind() string {
	byKind := map[string]float64{}
	for _, e := range c.elements {
		if slices.Contains(nonMetals, e.Symbol) {
			return ""
		}
		kind, known := kinds()[e.Symbol]
		if !known {
			kind = data.EnergeticMetal
		}
		byKind[kind] += e.MassFraction
	}
	share := 0.0
	for _, kind := range data.MetalKinds() {
		share += byKind[kind]
		switch {
		case kind == data.BaseMetal && share > 0:
			return kind // any base metal beside noble ones burns
		case share >= 0.5-1e-9:
			return kind
		}
	}
	return data.NobleMetal
}

func metals(c *compound) []Trait {
	switch c.metalKind() {
	case data.AlkaliMetal:
		return []Trait{Metal, EnergeticMetal, StrongReducer, WaterReactive}
	case data.StrongReducer:
		return []Trait{Metal, EnergeticMetal, StrongReducer}
	case data.EnergeticMetal:
		return []Trait{Metal, EnergeticMetal}
	case data.DeclaredMetal, data.BaseMetal:
		return []Trait{Metal}
	default:
		return nil
	}
}

// waterReactive finds hydrides, and carbides and phosphides of the light metals; other carbides and phosphides are inert. Amides
// and nitrides count where no aluminium or zinc is in them.
func waterReactive(c *compound) []Trait {
	light := slices.Concat(alkali, earths, []string{"Mg", "Al", "Zn"})
	others := func(with ...string) bool { return c.only(slices.Concat(light, with)...) && c.sum(light...) > 0 }
	switch {
	case c.n("C") > 0 && others("C"), c.n("P") > 0 && others("P"):
		return []Trait{WaterReactive}
	case c.n("N") > 0 && c.sum("Al", "Zn") == 0 && others("N", "H"):
		if state, known := c.state("N", high); known && state <= leastAzideState {
			return []Trait{WaterReactive}
		}
		return nil
	case c.n("H") > 0 && c.sum("O", "C", "N", "S", "P", "F", "Cl", "Br", "I", "Se") == 0 && len(c.counts) > 1:
		if c.sum(light...) > 0 {
			return []Trait{WaterReactive}
		}
		return []Trait{Metal, EnergeticMetal}
	default:
		return nil
	}
}

// reducible lists the elements with reducible oxides: easy ones, and hard ones.
var reducible = sync.OnceValues(func() (easy, hard []string) {
	for _, r := range data.ReducibleOxides() {
		if r.Hard {
			hard = append(hard, r.Element)
		} else {
			easy = append(easy, r.Element)
		}
	}
	return easy, hard
})

func reducibleOxides(c *compound) []Trait {
	easy, hard := reducible()
	switch {
	case c.n("O") == 0:
		return nil
	case c.sum(easy...) > 0 && c.only(append(slices.Clone(easy), "O", "H", "C")...) && !c.isOrganic():
		return []Trait{MetalOxide}
	case c.sum(hard...) > 0 && c.only(append(slices.Clone(hard), "O", "H")...):
		return []Trait{HardOxide}
	default:
		return nil
	}
}

func alkalis(c *compound) []Trait {
	var found []Trait
	if c.n("O") == 0 {
		return nil
	}
	carbonate := c.n("C") == 0 || !c.isOrganic()
	switch {
	case c.sum(alkali...) > 0 && c.only(append(slices.Clone(alkali), "O", "H", "C")...) && carbonate,
		c.sum(append(slices.Clone(earths), alkali...)...) > 0 && c.only(slices.Concat(earths, alkali, []string{"O", "H"})...):
		found = append(found, StrongAlkali)
	}
	salt := []string{"O", "H", "C", "N"}
	if c.sum(alkali...) > 0 && c.only(slices.Concat(alkali, earths, salt)...) {
		found = append(found, AlkaliSalt)
	}
	if c.sum(earths...) > 0 && c.only(slices.Concat(alkali, earths, salt, []string{"Mg"})...) {
		found = append(found, EarthAlkaliSalt)
	}
	return found
}

// Bounds of nitrogen's state: an azide has a third of a negative charge for each atom, ammonium at most what a double salt
// with nitrate comes to.
const (
	leastAzideState, mostAzideState = -1.2, -0.05
	mostAmmoniumState               = 2.5
)

func nitrogens(c *compound) []Trait {
	var found []Trait
	if c.n("N") == 0 {
		return nil
	}
	state, known := c.state("N", high)
	between := known && state < mostAmmoniumState || len(c.otherAnions()) > 0
	if c.n("H") > 0 && (c.writes("NH4") || between && c.n("H") >= 2*c.n("N")) {
		found = append(found, Ammonium)
	}
	if known && c.sum("O", "C") == 0 && state > leastAzideState && state < mostAzideState {
		found = append(found, Azide)
	}
	if c.isCyanide() {
		found = append(found, Cyanide)
	}
	return found
}

// isCyanide finds as much carbon as nitrogen with metals, and with water at most; in nitroprussides one nitrosyl stands for
// four cyanides or more.
func (c *compound) isCyanide() bool {
	carbon, nitrogen := c.n("C"), c.n("N")
	if carbon == 0 || nitrogen == 0 || c.sum("S", "P", "Cl") > 0 {
		return false
	}
	if nitrosyl := nitrogen - carbon; nitrosyl > 0 && c.sum(transition...) > 0 {
		return carbon >= 4*nitrosyl && math.Abs(c.n("O")-c.n("H")/2-nitrosyl) <= 0.02*nitrosyl
	}
	water := math.Abs(c.n("H") - 2*c.n("O"))
	hydrated := water <= 0.02*math.Max(1, c.n("H")) && !c.only(nonMetals...) // oxamide would be one of hydrogen
	return math.Abs(carbon-nitrogen) <= 0.01*carbon && (hydrated || c.only("H", "C", "N"))
}

// plain finds what an element or an exact ratio shows.
func plain(c *compound) []Trait {
	var found []Trait
	if c.isElement("P") {
		found = append(found, Phosphorus)
	}
	if c.n("Cr") > 0 && !c.isChromate() {
		found = append(found, ChromiumThree)
	}
	if c.only("Si", "O") && c.n("Si") > 0 && math.Abs(c.n("O")-2*c.n("Si")) <= 1e-6*c.n("O") {
		found = append(found, Silica)
	}
	return found
}
