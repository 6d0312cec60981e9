package air

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/data"
	"saggar/chem/finding"
)

func limitOf(t require.TestingT, species, authority string, kind data.LimitKind) Limit {
	limits := Limits(species)
	at := slices.IndexFunc(limits, func(l Limit) bool { return l.Authority == authority && l.Kind == kind })
	require.GreaterOrEqual(t, at, 0, "%s %s %s", species, authority, kind)
	return limits[at]
}

func TestLimitsSayWhatRefuses(t *testing.T) {
	cases := []struct {
		species, authority string
		kind               data.LimitKind
		ppm, averaging     float64
		severity           finding.Severity
		why                string
	}{
		{"SO2", "NIOSH", data.TimeWeighted, 2, 600, finding.Block, "NIOSH decides"},
		{"SO2", "OSHA", data.TimeWeighted, 5, 480, finding.Block, "never looser than OSHA"},
		{"SO2", "EU", data.TimeWeighted, 0.5, 480, finding.Warn, "a stricter published value warns"},
		{"SO2", "NIOSH", data.DangerousToLife, 100, 0, finding.Block, "danger to life, at every moment"},
		{"CO", "NIOSH", data.Ceiling, 200, 0, finding.Block, "a ceiling without an averaging time"},
		{"H2S", "NIOSH", data.Ceiling, 10, 10, finding.Block, "a ceiling over ten minutes, as its row says"},
		{"H2S", "OSHA", data.Peak, 50, 0, finding.Block, "its ten minutes are how long, not a mean"},
		{"CO2", "NIOSH", data.ShortTerm, 30000, 15, finding.Block, "read in its source"},
		{"CS2", "NIOSH", data.DangerousToLife, 500, 0, finding.Warn, "read second-hand"},
		{"NH3", "EU", data.TimeWeighted, 20, 480, finding.Warn, "not read in its source, and no American one"},
		{"CO", "NIOSH", data.DangerousToLife, 1200, 0, finding.Warn, "read second-hand; NIOSH's ceiling of 200 refuses"},
		{"CO2", "NIOSH", data.DangerousToLife, 40000, 0, finding.Block, "read in its source"},
		{"HF", "NIOSH", data.DangerousToLife, 30, 0, finding.Warn, "read second-hand"},
		{"NO", "NIOSH", Excursion, 75, 15, finding.Block, "three times a shift mean that stands alone"},
		{"NO", "NIOSH", ExcursionCeiling, 125, 0, finding.Block, "five times"},
		{"NH3", "NIOSH", ExcursionCeiling, 125, 0, finding.Block, "nothing else that refuses is held at every moment"},
		{"HF", "OSHA", ExcursionCeiling, 15, 0, finding.Block, "nothing else that refuses is held at every moment"},
	}
	for _, c := range cases {
		t.Run(fmt.Sprint(c.species, c.authority, c.kind), func(t *testing.T) {
			limit := limitOf(t, c.species, c.authority, c.kind)
			assert.Equal(t, c.ppm, limit.PPM, c.why)
			assert.Equal(t, c.averaging, limit.AveragingMinutes, c.why)
			assert.Equal(t, c.severity, limit.Severity, c.why)
			assert.NotEmpty(t, limit.Source)
		})
	}
}

// What is dangerous to life and only warns is refused all the same: a limit that was read stands below it at every moment.
func TestDangerToLifeIsRefusedByOneLimitOrAnother(t *testing.T) {
	for species, limits := range limitTable() {
		if !slices.ContainsFunc(limits, func(l Limit) bool { return l.Kind == data.DangerousToLife }) {
			continue
		}
		danger := limitOf(t, species, "NIOSH", data.DangerousToLife)
		lowest, refuses := strictest(Limits(species), func(l Limit) bool {
			return l.Severity == finding.Block && l.AveragingMinutes == 0
		})
		require.True(t, refuses, species)
		assert.LessOrEqual(t, lowest.PPM, danger.PPM, species)
	}
}

func TestExcursionRuleOnlyWhereNoShortTermValueStands(t *testing.T) {
	for _, species := range []string{"SO2", "CO", "CO2", "H2S", "CS2"} {
		for _, limit := range Limits(species) {
			assert.NotContains(t, []data.LimitKind{Excursion, ExcursionCeiling}, limit.Kind, species)
		}
	}
	assert.Equal(t, 3*limitOf(t, "H2SO4", "OSHA", data.TimeWeighted).PPM, limitOf(t, "H2SO4", "OSHA", Excursion).PPM)
	assert.Equal(t, 3.0, limitOf(t, "H2SO4", "OSHA", Excursion).MilligramsPerCubicMeter)
}

func TestLimitsByMassAreConverted(t *testing.T) {
	limit := limitOf(t, "H2SO4", "OSHA", data.TimeWeighted)
	gramsPerMole, err := GramsPerMole("H2SO4")
	require.NoError(t, err)
	back := milligrams(t, limit.PPM, gramsPerMole)
	assert.InDelta(t, 1, back, 1e-12, "29 CFR 1910.1000 Table Z-1: 1 mg/m3")
	assert.Equal(t, 1.0, limit.MilligramsPerCubicMeter)
}

func TestSulfurTrioxideCountsAsAcidMist(t *testing.T) {
	assert.Equal(t, Limits("H2SO4"), Limits("SO3"))
	zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1}
	anhydride := only(t, zone, []Source{{Releases: []Release{{"SO3", 0, 10, 80.06}}}})
	acid := only(t, zone, []Source{{Releases: []Release{{"H2SO4", 0, 10, 98.08}}}})
	assert.Equal(t, "H2SO4", anhydride.Species())
	assert.InEpsilon(t, acid.At(10), anhydride.At(10), 1e-3, "mole for mole")
	both := only(t, zone, []Source{{Releases: []Release{{"SO3", 0, 10, 80.06}, {"H2SO4", 0, 10, 98.08}}}})
	assert.InEpsilon(t, 2*acid.At(10), both.At(10), 1e-3)
}

func TestEveryLimitIsUsable(t *testing.T) {
	for species, limits := range limitTable() {
		for _, limit := range limits {
			assert.Positive(t, limit.PPM, species)
			assert.NotEmpty(t, codes[limit.Kind], "%s %s", species, limit.Kind)
			assert.Contains(t, []finding.Severity{finding.Block, finding.Warn}, limit.Severity)
		}
	}
	assert.Equal(t, 600.0, LongestAveragingMinutes())
	assert.Empty(t, Limits("C2H2"))
	Limits("SO2")[0].PPM = -1
	assert.Positive(t, Limits("SO2")[0].PPM, "the table is not the caller's")
}

func TestOwnLimits(t *testing.T) {
	good := OwnLimit{Species: "SO2", Name: "studio", Kind: data.TimeWeighted, AveragingMinutes: 480, PPM: 0.25, Source: "studio rule 4"}
	limits, err := applicable("SO2", []OwnLimit{good, {Species: "CO"}})
	require.NoError(t, err, "another species' limit is not looked at")
	last := limits[len(limits)-1]
	assert.Equal(t, "studio", last.Authority)
	assert.Equal(t, finding.Block, last.Severity)
	assert.Len(t, Limits("SO2"), len(limits)-1, "the table itself is untouched")

	at := good
	at.PPM = 5 // OSHA's own value: no looser
	_, err = applicable("SO2", []OwnLimit{at})
	require.NoError(t, err)

	bad := map[string]func(*OwnLimit){
		"looser than OSHA's 5": func(o *OwnLimit) { o.PPM = 5.001 },
		"limit_ppm":            func(o *OwnLimit) { o.PPM = 0 },
		"averaging_minutes":    func(o *OwnLimit) { o.AveragingMinutes = 0 },
		"kind":                 func(o *OwnLimit) { o.Kind = data.Peak },
		"source":               func(o *OwnLimit) { o.Source = "" },
	}
	for want, spoil := range bad {
		own := good
		spoil(&own)
		_, err := applicable("SO2", []OwnLimit{own})
		assert.ErrorContains(t, err, want)
	}
}

func TestOwnLimitFaultsNameEachField(t *testing.T) {
	good := OwnLimit{Species: "SO2", Name: "studio", Kind: data.TimeWeighted, AveragingMinutes: 480, PPM: 0.25, Source: "rule 4"}
	assert.Empty(t, OwnLimitFaults([]OwnLimit{good, {"CO", "studio", data.Ceiling, 0, 100, "rule 5"}}))
	for field, spoil := range map[string]func(*OwnLimit){
		"species":           func(o *OwnLimit) { o.Species = "Xx" },
		"name":              func(o *OwnLimit) { o.Name = "" },
		"source":            func(o *OwnLimit) { o.Source = "" },
		"kind":              func(o *OwnLimit) { o.Kind = data.DangerousToLife },
		"averaging_minutes": func(o *OwnLimit) { o.AveragingMinutes = 1440.5 },
		"limit_ppm":         func(o *OwnLimit) { o.PPM = math.NaN() },
	} {
		own := good
		spoil(&own)
		faults := OwnLimitFaults([]OwnLimit{good, own})
		require.Len(t, faults, 1, field)
		assert.Equal(t, "own_limits[1]."+field, faults[0].Field)
	}
	looser := good
	looser.PPM = 5.1
	faults := OwnLimitFaults([]OwnLimit{looser})
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Message, "looser than OSHA's 5 ppm (29 CFR 1910.1000 Table Z-1")
	assert.Contains(t, faults[0].Cure, "at most 5")
	// A limit that is looser in mg/m3 is compared as ppm: OSHA's 1 mg/m3 of acid mist.
	mist := OwnLimit{Species: "H2SO4", Name: "studio", Kind: data.TimeWeighted, AveragingMinutes: 480, PPM: 0.25, Source: "rule 6"}
	assert.NotEmpty(t, OwnLimitFaults([]OwnLimit{mist}))
	mist.PPM = 0.2493
	assert.Empty(t, OwnLimitFaults([]OwnLimit{mist}))
}

func TestTheStrictestComesFirst(t *testing.T) {
	for _, c := range []struct {
		species   string
		kind      data.LimitKind
		authority string
		ppm       float64
	}{
		{"SO2", data.TimeWeighted, "EU", 0.5},
		{"SO2", data.ShortTerm, "EU", 1},
		{"CO", data.Ceiling, "NIOSH", 200},
		{"NO", data.TimeWeighted, "EU", 2},
		{"HCl", data.Ceiling, "Ontario", 2},
		{"SO2", data.DangerousToLife, "NIOSH", 100},
	} {
		limits := StrictestFirst(c.species)
		assert.True(t, slices.IsSortedFunc(limits, func(a, b Limit) int { return cmp.Compare(a.PPM, b.PPM) }), c.species)
		at := slices.IndexFunc(limits, func(l Limit) bool { return l.Kind == c.kind })
		require.GreaterOrEqual(t, at, 0, c.species)
		assert.Equal(t, c.authority, limits[at].Authority, "%s %s", c.species, c.kind)
		assert.Equal(t, c.ppm, limits[at].PPM, "%s %s", c.species, c.kind)
	}
	assert.Empty(t, StrictestFirst("C2H2"))
}

// A source says of which year it is: a section of the code by itself would not.
func TestEverySourceOfALimitSaysItsYear(t *testing.T) {
	section, year := regexp.MustCompile(`1910[.]\d+`), regexp.MustCompile(`\b(19|20)\d\d\b`)
	for _, row := range data.ExposureLimits() {
		assert.Regexp(t, year, section.ReplaceAllString(row.Source, ""), "%s %s %s", row.Substance, row.Authority, row.Kind)
	}
}
