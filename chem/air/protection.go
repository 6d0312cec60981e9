package air

import (
	"fmt"
	"math"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// ProtectionClass is one class of respirator against one concentration of one species.
type ProtectionClass struct {
	// Class is type, mode and facepiece as in the table, joined by slashes: "air_purifying/negative pressure/half_mask".
	Class string `json:"class"`
	// AssignedProtectionFactor is the lower one where the higher needs the maker's evidence.
	AssignedProtectionFactor float64 `json:"assigned_protection_factor"`
	// MaximumUsePPM is the factor times the strictest refusing limit, never above the concentration that is dangerous to
	// life; 0 where the class gets no credit.
	MaximumUsePPM float64 `json:"maximum_use_ppm"`
	// NeedsGoggles: it is enough only together with gas-tight goggles.
	NeedsGoggles bool `json:"needs_goggles"`
	Enough       bool `json:"enough"`
	// Unknown: no limit that refuses is known, so whether it would be enough cannot be said; Enough is false then.
	Unknown bool   `json:"unknown"`
	Reason  string `json:"reason"`
	Source  string `json:"source"`
}

// cartridge says what filters and cartridges are worth against a species (common practice, no source, save that
// 29 CFR 1910.134(d)(3)(iii) gives no credit without one that is suitable).
type cartridge struct {
	suitable bool
	eyes     bool // the gas attacks the eyes: full facepiece, hood or gas-tight goggles
	why      string
}

var cartridges = map[string]cartridge{
	"SO2":   {suitable: true, eyes: true},
	"HCl":   {suitable: true, eyes: true},
	"HF":    {suitable: true, eyes: true},
	"H2SO4": {suitable: true, eyes: true},
	"H2S":   {eyes: true, why: "cartridges against H2S are for escape only"},
	"CO":    {why: "no cartridge holds CO back"},
	"CO2":   {why: "no cartridge holds CO2 back"},
	"NO2":   {eyes: true, why: "cartridges against NO2 give no reliable warning of their end"},
	"CS2":   {eyes: true, why: "cartridges against CS2 give no reliable warning of their end"},
	// Dust and fume: a particulate filter.
	"SiO2": {suitable: true},
	"ZnO":  {suitable: true},
	"Cu":   {suitable: true},
	"Mn":   {suitable: true},
	"Co":   {suitable: true},
	"Pb":   {suitable: true},
}

// ProtectionCheck is every class of respirator against one concentration, with the limits that it rests on.
type ProtectionCheck struct {
	Species                 string  `json:"species"`
	PPM                     float64 `json:"ppm"`
	MilligramsPerCubicMeter float64 `json:"milligrams_per_cubic_meter"`
	// Entry says what going in would take where the concentration is dangerous to life; empty where it is not.
	Entry   string            `json:"entry"`
	Classes []ProtectionClass `json:"classes"`
	// Limits are the published ones, the strictest first.
	Limits      []Limit  `json:"limits"`
	Assumptions []string `json:"assumptions"`
	Caution     string   `json:"caution"`
}

// CheckProtection is Protection with the limits, the assumptions and the caution that belong beside it. Dust is asked for by
// the concentration that its mass comes to (PPMFromMilligrams): what rises when something is weighed, sieved or ground must
// be measured, no figure for it is assumed. The error is a finding.Faults.
func CheckProtection(species string, ppm float64) (ProtectionCheck, error) {
	var faults finding.Faults
	gramsPerMole, err := GramsPerMole(species)
	if err != nil {
		faults.Add("species", err.Error(), "give a formula such as SO2")
	}
	if !atLeastZero(ppm) || ppm > 1e6 {
		faults.Add("ppm", fmt.Sprintf("%v ppm is no concentration", ppm), "give 0 to 1000000 ppm")
	}
	if err := faults.Err(); err != nil {
		return ProtectionCheck{}, err
	}
	result := ProtectionCheck{
		Species: species, PPM: ppm, MilligramsPerCubicMeter: ppm * gramsPerMole / MolarVolumeLiters,
		Entry:   entry(species, ppm),
		Classes: Protection(species, ppm), Limits: StrictestFirst(species), Caution: Caution, Assumptions: []string{
			"maximum use concentration: assigned protection factor times the strictest limit that refuses, never above what is " +
				"dangerous to life (29 CFR 1910.134(d)(3)(i))",
			"protection covers its wearer only, fitted and with a cartridge or filter that is suitable and not spent",
			"ppm by volume at 25 C and 1 atm, molar volume 24.45 l",
		},
	}
	if countedAs(species) != species {
		result.Assumptions = append(result.Assumptions, noteSO3)
	}
	return result, nil
}

// Protection says which classes of respirator would be enough for their wearer at a concentration, in the table's order
// (29 CFR 1910.134 Table 1). It never makes a room's air acceptable. A species without a limit, or a concentration that
// is no number of at least zero, finds none enough.
func Protection(species string, ppm float64) []ProtectionClass {
	a := newAgainst(species, ppm)
	rows := data.ProtectionFactors()
	classes := make([]ProtectionClass, len(rows))
	for i, row := range rows {
		classes[i] = a.class(row)
		a.say(&classes[i])
	}
	return classes
}

// leastEnough is the class with the lowest factor of those that Protection finds enough.
func leastEnough(species string, ppm float64) (ProtectionClass, bool) {
	a := newAgainst(species, ppm)
	var least ProtectionClass
	for _, row := range data.ProtectionFactors() {
		if !least.Enough || row.Factor < least.AssignedProtectionFactor {
			if class := a.class(row); class.Enough {
				least = class
			}
		}
	}
	if least.Enough {
		a.say(&least)
	}
	return least, least.Enough
}

// against is the concentration that classes are held against.
type against struct {
	species string
	ppm     float64
	there   string // the concentration in words
	limit   Limit  // the strictest that refuses; none, of no ppm, where none is known
	danger  float64
	used    float64 // the last maximum use concentration that was put in words
	use     string
}

// useWorded is a maximum use concentration in words; classes of one factor follow each other.
func (a *against) useWorded(ppm float64) string {
	if a.use == "" || a.used != ppm {
		a.used, a.use = ppm, worded(a.species, ppm)
	}
	return a.use
}

func newAgainst(species string, ppm float64) *against {
	species = countedAs(species)
	limits := limitsOf(species)
	limit, _ := strictest(limits, func(l Limit) bool {
		return l.Severity == finding.Block && l.Kind != data.DangerousToLife
	})
	return &against{species: species, ppm: ppm, there: worded(species, ppm), limit: limit, danger: dangerous(limits)}
}

// class says whether a class is enough; why it is, or is not, is left to be said, save that it gets no credit at all.
func (a *against) class(row data.ProtectionFactor) ProtectionClass {
	class := ProtectionClass{
		Class: row.Class(), AssignedProtectionFactor: row.Factor, Source: row.Source, Reason: noCredit(a.species, row),
	}
	if class.Reason == "" && a.limit.PPM > 0 {
		class.MaximumUsePPM = maximumUse(row.Factor, a.limit.PPM, a.danger)
		class.NeedsGoggles = cartridges[a.species].eyes && !coversEyes(row.Facepiece)
		class.Enough = atLeastZero(a.ppm) && a.ppm <= a.danger && !above(a.ppm, class.MaximumUsePPM)
	}
	return class
}

// entry says who may go into air that is dangerous to life (29 CFR 1910.134(d)(2)); empty where it is not.
func entry(species string, ppm float64) string {
	danger := dangerous(limitsOf(species))
	if !(ppm > danger) {
		return ""
	}
	return fmt.Sprintf("%s is above %s, dangerous to life: nobody enters. What 29 CFR 1910.134(d)(2) asks of those who must "+
		"all the same is a full facepiece pressure demand SCBA for at least 30 minutes, or a full facepiece pressure demand "+
		"supplied-air respirator with auxiliary self-contained air, and more than equipment; this tool gives no clearance for it",
		worded(species, ppm), worded(species, danger))
}

// maximumUse is the maximum use concentration: factor times limit, never above what is dangerous to life
// (29 CFR 1910.134(d)(3)(i)(B)).
func maximumUse(factor, limit, dangerous float64) float64 { return min(factor*limit, dangerous) }

// dangerous is the strictest concentration dangerous to life, read or remembered; infinite when none is known.
func dangerous(limits []Limit) float64 {
	if limit, ok := strictest(limits, func(l Limit) bool { return l.Kind == data.DangerousToLife }); ok {
		return limit.PPM
	}
	return math.Inf(1)
}

func noCredit(species string, row data.ProtectionFactor) string {
	if row.Type != "air_purifying" && row.Type != "papr" {
		return ""
	}
	known, ok := cartridges[species]
	switch {
	case !ok:
		return "no cartridge is known here to be suitable against " + species
	case !known.suitable:
		return known.why
	default:
		return ""
	}
}

func coversEyes(facepiece string) bool {
	return facepiece == "full_facepiece" || facepiece == "helmet_hood"
}

// say puts into words why a class is enough, or is not.
func (a *against) say(p *ProtectionClass) {
	switch {
	case p.Reason != "":
	case a.limit.PPM == 0:
		p.Unknown = true
		p.Reason = "cannot be said: no limit that refuses is known, so no maximum use concentration"
	case !atLeastZero(a.ppm):
		p.Reason = fmt.Sprintf("%v ppm is no concentration", a.ppm)
	case a.ppm > a.danger:
		p.Reason = a.there + " is above " + a.useWorded(a.danger) + ", dangerous to life: no clearance for entry is given here"
	case !p.Enough:
		p.Reason = a.there + " is above the maximum use concentration of " + a.useWorded(p.MaximumUsePPM)
	default:
		p.Reason = fmt.Sprintf("%s is within the maximum use concentration of %s (%g times the limit %s %s)", a.there,
			a.useWorded(p.MaximumUsePPM), p.AssignedProtectionFactor, a.limit.Authority, a.limit.Kind)
		if p.NeedsGoggles {
			p.Reason += ", with gas-tight goggles"
		}
	}
}
