package air

import (
	"cmp"
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
	dayMinutes              = 1440
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

// LimitedByMass reports whether the limits of a species are set in mg/m3 and none of them in ppm, as those of dust, fume and
// mist are.
func LimitedByMass(species string) bool { return massLimited()[countedAs(species)] }

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
		PPM: row.PPM, MilligramsPerCubicMeter: row.MilligramsPerCubicMeter, Severity: SeverityOf(row),
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

// SeverityOf is the decision rule, what going over a row's value does: it refuses only when it was read in its source, is
// OSHA's or NIOSH's, and is meant as a limit; empty for a row without a value.
func SeverityOf(row data.ExposureLimit) finding.Severity {
	if row.Kind == data.NoLimit {
		return ""
	}
	decides := row.Authority == authorityOSHA || row.Authority == authorityNIOSH
	if decides && row.Read == data.WasRead && row.Kind != data.ActionLevel {
		return finding.Block
	}
	return finding.Warn
}

// excursions are the rule's two limits for each authority with a shift mean and no short-term value of its own. A
// short-term value that refuses speaks for all: where NIOSH has one, OSHA's shift mean needs no such rule. Where nothing that
// refuses is held at every moment, the rule's ceiling stays on what refuses over a shift: no mean hides a burst.
func excursions(limits []Limit) []Limit {
	momentary := slices.ContainsFunc(limits, func(l Limit) bool { return l.Severity == finding.Block && l.AveragingMinutes == 0 })
	var added []Limit
	for _, base := range limits {
		if base.Kind != data.TimeWeighted {
			continue
		}
		spoken := slices.ContainsFunc(limits, func(l Limit) bool {
			return l.shortTerm() && (l.Authority == base.Authority || l.Severity == finding.Block)
		})
		if !spoken {
			added = append(added, base.times(Excursion, excursionTimes, shortTermMinutes))
		}
		if !spoken || !momentary && base.Severity == finding.Block {
			added = append(added, base.times(ExcursionCeiling, excursionCeilingTimes, 0))
		}
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
		if err := o.faults(i, limits).Err(); err != nil {
			return nil, err
		}
		limits = append(slices.Clip(limits), Limit{
			Species: species, Authority: o.Name, Kind: o.Kind, AveragingMinutes: o.AveragingMinutes, PPM: o.PPM,
			Severity: finding.Block, Read: data.WasRead, Source: o.Source,
		})
	}
	return limits, nil
}

// OwnLimitFaults lists what is wrong with a studio's own limits, each at own_limits[i] and its field: a name and a source
// are required, and none may be looser than OSHA's value of the same kind.
func OwnLimitFaults(own []OwnLimit) finding.Faults {
	var faults finding.Faults
	for i, o := range own {
		if _, err := GramsPerMole(o.Species); err != nil || o.Species == "" {
			faults.Add(fmt.Sprintf("own_limits[%d].species", i), fmt.Sprintf("%q is no formula", o.Species), "give one such as SO2")
			continue
		}
		faults = append(faults, o.faults(i, limitsOf(o.Species))...)
	}
	return faults
}

func (o OwnLimit) faults(index int, published []Limit) finding.Faults {
	faults := o.worded(index)
	field := fmt.Sprintf("own_limits[%d].limit_ppm", index)
	if !(o.PPM > 0) || !finite(o.PPM) {
		faults.Add(field, fmt.Sprintf("%v is no limit", o.PPM), "give a number above zero")
		return faults
	}
	for _, limit := range published {
		if limit.Authority == authorityOSHA && limit.Kind == o.Kind && o.PPM > limit.PPM {
			faults.Add(field, fmt.Sprintf("%v ppm is looser than OSHA's %v ppm (%s)", o.PPM, limit.PPM, limit.Source),
				fmt.Sprintf("a studio may tighten, never loosen: give at most %v", limit.PPM))
		}
	}
	return faults
}

// worded are the faults of all but the value.
func (o OwnLimit) worded(index int) finding.Faults {
	var faults finding.Faults
	add := func(field, message, cure string) {
		faults.Add(fmt.Sprintf("own_limits[%d].%s", index, field), message, cure)
	}
	if o.Kind != data.TimeWeighted && o.Kind != data.ShortTerm && o.Kind != data.Ceiling {
		add("kind", fmt.Sprintf("%q is no kind of limit", o.Kind), "give TWA, STEL or C")
	}
	if o.Name == "" {
		add("name", "is missing", "say what the studio calls the limit")
	}
	if o.Source == "" {
		add("source", "is missing", "say where the value comes from")
	}
	if !atLeastZero(o.AveragingMinutes) || o.AveragingMinutes > dayMinutes || o.AveragingMinutes == 0 && o.Kind != data.Ceiling {
		add("averaging_minutes", fmt.Sprintf("%v is no averaging time", o.AveragingMinutes),
			"give minutes above zero, at most a day's 1440, or 0 for a ceiling")
	}
	return faults
}

// StrictestFirst are a species' published limits by value, the strictest first, those of one value in the table's order.
func StrictestFirst(species string) []Limit {
	limits := slices.DeleteFunc(Limits(species), func(l Limit) bool { return l.Kind == Excursion || l.Kind == ExcursionCeiling })
	slices.SortStableFunc(limits, func(a, b Limit) int { return cmp.Compare(a.PPM, b.PPM) })
	return limits
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
