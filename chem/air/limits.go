package air

import (
	"fmt"
	"slices"
	"sync"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// Kinds of limit beside those of the table.
const (
	// Excursion is the general excursion rule for a limit set that has a shift mean but no short-term value: at most
	// three times the shift mean over 15 minutes (common practice, no source).
	Excursion data.LimitKind = "EXCURSION"
	// ExcursionCeiling is its other half: never over five times the shift mean (common practice, no source).
	ExcursionCeiling data.LimitKind = "EXCURSION_CEILING"
	// MixtureShift and MixtureShortTerm hold the sum of concentration over limit to 1.
	MixtureShift     data.LimitKind = "MIXTURE_SHIFT"
	MixtureShortTerm data.LimitKind = "MIXTURE_SHORT_TERM"
)

const (
	shortTermMinutes        = 15
	shiftMinutes            = 480
	excursionTimes          = 3
	excursionCeilingTimes   = 5
	excursionSource         = "general excursion rule, " + commonPractice + ", on "
	authorityOSHA           = "OSHA"
	authorityNIOSH          = "NIOSH"
	noteSO3                 = "sulfur trioxide hydrates to sulfuric acid mist and is held to its limits"
	noteDanger              = "held at every moment, not over the 30 minutes of its derivation"
	mixtureSource           = "29 CFR 1910.1000(d)(2)(i)"
	mixtureSpecies          = "mixture"
	rounding                = 1e-9 // relative; what a sum may lie above a limit and still count as at it
	reentryShareOfShift     = 0.1  // common practice, no source
	goneShareOfStrictest    = 0.01
	defaultSeriesPointCount = 96
)

// Limit is one limit that a species is held to, with what going over it does.
type Limit struct {
	Species   string         `json:"species"`
	Authority string         `json:"authority"`
	Kind      data.LimitKind `json:"kind"`
	// AveragingMinutes is the window of the mean that is compared; 0: at no moment.
	AveragingMinutes float64 `json:"averaging_minutes"`
	// PPM is the limit by volume at 25 C and 1 atm, converted where the limit is set in mg/m3 only.
	PPM float64 `json:"limit_ppm"`
	// MilligramsPerCubicMeter is as published; 0 where the limit is set in ppm only.
	MilligramsPerCubicMeter float64          `json:"limit_mg_m3"`
	Severity                finding.Severity `json:"severity"`
	Note                    string           `json:"note,omitempty"`
	Read                    data.Read        `json:"read"`
	Source                  string           `json:"source"`
}

// OwnLimit is a limit that a studio sets for itself, stricter than the published ones. It refuses like a published one.
type OwnLimit struct {
	Species string `json:"species"`
	// Name is what the studio calls it; it stands as the limit's authority.
	Name string `json:"name"`
	// Kind is TWA, STEL or C.
	Kind data.LimitKind `json:"kind"`
	// AveragingMinutes is 0 only for a ceiling.
	AveragingMinutes float64 `json:"averaging_minutes"`
	PPM              float64 `json:"limit_ppm"`
	Source           string  `json:"source"`
}

// Limits lists every limit of a species in the table's order, the excursion rule's after them; empty for a species
// without any. NIOSH's and OSHA's values refuse, all others warn, and one that was not read in its source only warns.
func Limits(species string) []Limit { return slices.Clone(limitsOf(species)) }

func limitsOf(species string) []Limit { return limitTable()[countedAs(species)] }

// limitTable is read once: checks under a lock look up, they build nothing.
var limitTable = sync.OnceValue(func() map[string][]Limit {
	table := map[string][]Limit{}
	for _, row := range data.ExposureLimits() {
		if row.Formula == "" || row.Kind == data.NoLimit {
			continue
		}
		if limit, ok := toLimit(row); ok {
			table[row.Formula] = append(table[row.Formula], limit)
		}
	}
	for species, limits := range table {
		table[species] = append(limits, excursions(limits)...)
	}
	return table
})

// limitedByMass reports whether the limits of a species are set in mg/m3 and none of them in ppm.
func limitedByMass(species string) bool { return massLimited()[countedAs(species)] }

var massLimited = sync.OnceValue(func() map[string]bool {
	byMass := map[string]bool{}
	for _, row := range data.ExposureLimits() {
		if row.Kind == data.NoLimit {
			continue
		}
		others, seen := byMass[row.Formula]
		byMass[row.Formula] = row.PPM == 0 && (others || !seen)
	}
	return byMass
})

func toLimit(row data.ExposureLimit) (Limit, bool) {
	limit := Limit{
		Species: row.Formula, Authority: row.Authority, Kind: row.Kind, AveragingMinutes: float64(row.AveragingMinutes),
		PPM: row.PPM, MilligramsPerCubicMeter: row.MilligramsPerCubicMeter, Severity: severityOf(row),
		Note: row.Note, Read: row.Read, Source: row.Source,
	}
	if row.Kind == data.DangerousToLife || row.Kind == data.Peak {
		limit.AveragingMinutes = 0
	}
	if row.Kind == data.DangerousToLife {
		limit.Note = joinNotes(row.Note, noteDanger)
	}
	if limit.PPM == 0 {
		gramsPerMole, err := GramsPerMole(row.Formula)
		if err != nil {
			return Limit{}, false
		}
		limit.PPM = row.MilligramsPerCubicMeter * MolarVolumeLiters / gramsPerMole
	}
	return limit, limit.PPM > 0
}

func joinNotes(first, second string) string {
	if first == "" {
		return second
	}
	return first + "; " + second
}

// severityOf is the decision rule: a value refuses only when it was read in its source, is OSHA's or NIOSH's, and is
// meant as a limit.
func severityOf(row data.ExposureLimit) finding.Severity {
	decides := row.Authority == authorityOSHA || row.Authority == authorityNIOSH
	if decides && row.Read == data.WasRead && row.Kind != data.ActionLevel {
		return finding.Block
	}
	return finding.Warn
}

// excursions are the rule's two limits for each authority with a shift mean and no short-term value of its own. A
// short-term value that refuses speaks for all: where NIOSH has one, OSHA's shift mean needs no such rule.
func excursions(limits []Limit) []Limit {
	var added []Limit
	for _, base := range limits {
		spoken := slices.ContainsFunc(limits, func(l Limit) bool {
			return l.shortTerm() && (l.Authority == base.Authority || l.Severity == finding.Block)
		})
		if base.Kind != data.TimeWeighted || spoken {
			continue
		}
		added = append(added, base.times(Excursion, excursionTimes, shortTermMinutes),
			base.times(ExcursionCeiling, excursionCeilingTimes, 0))
	}
	return added
}

func (l Limit) times(kind data.LimitKind, factor, averagingMinutes float64) Limit {
	l.Kind, l.AveragingMinutes = kind, averagingMinutes
	l.PPM *= factor
	l.MilligramsPerCubicMeter *= factor
	l.Source = excursionSource + l.Source
	return l
}

// shortTerm reports whether the limit is about minutes, not a shift and not danger to life.
func (l Limit) shortTerm() bool {
	switch l.Kind {
	case data.ShortTerm, data.Ceiling, Excursion:
		return true
	default:
		return false
	}
}

func (l Limit) shift() bool { return l.Kind == data.TimeWeighted }

// applicable is a species' limits with the studio's own; faults name an own limit that cannot stand.
func applicable(species string, own []OwnLimit) ([]Limit, error) {
	limits := limitsOf(species)
	for i, o := range own {
		if countedAs(o.Species) != species {
			continue
		}
		if err := o.validate(limits); err != nil {
			return nil, fmt.Errorf("own_limits[%d]: %w", i, err)
		}
		limits = append(slices.Clip(limits), Limit{
			Species: species, Authority: o.Name, Kind: o.Kind, AveragingMinutes: o.AveragingMinutes, PPM: o.PPM,
			Severity: finding.Block, Read: data.WasRead, Source: o.Source,
		})
	}
	return limits, nil
}

func (o OwnLimit) validate(published []Limit) error {
	switch {
	case o.Kind != data.TimeWeighted && o.Kind != data.ShortTerm && o.Kind != data.Ceiling:
		return fmt.Errorf("kind %q: give TWA, STEL or C", o.Kind)
	case o.Name == "" || o.Source == "":
		return fmt.Errorf("name %q, source %q: give both", o.Name, o.Source)
	case !(o.PPM > 0) || !finite(o.PPM):
		return fmt.Errorf("limit_ppm %v: give a number above zero", o.PPM)
	case !atLeastZero(o.AveragingMinutes) || o.AveragingMinutes == 0 && o.Kind != data.Ceiling:
		return fmt.Errorf("averaging_minutes %v: give minutes above zero, or 0 for a ceiling", o.AveragingMinutes)
	}
	for _, limit := range published {
		if limit.Authority == authorityOSHA && limit.Kind == o.Kind && o.PPM > limit.PPM {
			return fmt.Errorf("limit_ppm %v is looser than OSHA's %v: a studio may tighten, never loosen", o.PPM, limit.PPM)
		}
	}
	return nil
}

// strictest is the lowest limit that keep accepts; false when there is none.
func strictest(limits []Limit, keep func(Limit) bool) (Limit, bool) {
	var lowest Limit
	found := false
	for _, limit := range limits {
		if keep(limit) && (!found || limit.PPM < lowest.PPM) {
			lowest, found = limit, true
		}
	}
	return lowest, found
}

func refusesShift(l Limit) bool     { return l.Severity == finding.Block && l.shift() }
func refusesShortTerm(l Limit) bool { return l.Severity == finding.Block && l.shortTerm() }
