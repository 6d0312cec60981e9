package air

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/data"
)

// published is one row of a table in testdata; each row names its source.
type published struct {
	t     *testing.T
	cells map[string]string
}

func readPublished(t *testing.T, file string) []published {
	t.Helper()
	opened, err := os.Open(filepath.Join("testdata", file))
	require.NoError(t, err)
	defer opened.Close()
	records, err := csv.NewReader(opened).ReadAll()
	require.NoError(t, err)
	var rows []published
	for _, record := range records[1:] {
		row := published{t, map[string]string{}}
		for i, name := range records[0] {
			row.cells[name] = record[i]
		}
		require.NotEmpty(t, row.cells["source"])
		rows = append(rows, row)
	}
	return rows
}

func (p published) number(column string) float64 {
	p.t.Helper()
	value, err := strconv.ParseFloat(p.cells[column], 64)
	require.NoError(p.t, err, column)
	return value
}

// gramsOf is the release of sulfur dioxide that makes a volume of gas a minute, m3/min, at 25 C and 1 atm.
func gramsOf(t require.TestingT, cubicMetersPerMinute float64) float64 {
	gramsPerMole, err := GramsPerMole("SO2")
	require.NoError(t, err)
	return cubicMetersPerMinute * 1000 / MolarVolumeLiters * gramsPerMole
}

// Build-up of a steady release in a perfectly mixed room: the table gives the volume fraction for a release of one
// unit of volume an hour into one unit of volume. Here a millionth of that, so that the fraction is ppm.
func TestPublishedBuildUp(t *testing.T) {
	rows := readPublished(t, "room-buildup.csv")
	require.Len(t, rows, 44)
	for _, row := range rows {
		t.Run(row.cells["ach_per_h"]+" per h, "+row.cells["time_min"]+" min", func(t *testing.T) {
			minute := row.number("time_min")
			zone := Zone{VolumeCubicMeters: 1, MixingFactor: 1, Flow: ConstantFlow(row.number("ach_per_h") / 3600)}
			source := Source{Releases: []Release{{"SO2", 0, minute + 1, gramsOf(t, 1e-6/60)}}}
			got := only(t, zone, []Source{source}).At(minute)
			assert.InDelta(t, row.number("published_c"), got, row.number("tolerance"), row.cells["source"])
			assert.InDelta(t, row.number("exact_c"), got, 1e-6, row.cells["source"])
		})
	}
}

// Purging a perfectly mixed room: the minute at which a share of the gas is gone.
func TestPublishedPurgeTimes(t *testing.T) {
	rows := readPublished(t, "room-purge-times.csv")
	require.Len(t, rows, 54)
	for _, row := range rows {
		t.Run(row.cells["ach_per_h"]+" per h, "+row.cells["removal_pct"]+" %", func(t *testing.T) {
			zone := Zone{
				VolumeCubicMeters: 75, MixingFactor: 1, Flow: ConstantFlow(75 * row.number("ach_per_h") / 3600),
				InitialPPM: map[string]float64{"CO": 100},
			}
			got, ok := only(t, zone, nil).MinuteBelow(100 - row.number("removal_pct"))
			require.True(t, ok)
			assert.InDelta(t, row.number("published_min"), got, row.number("tolerance_min"), row.cells["source"])
			assert.InDelta(t, row.number("exact_min"), got, 1e-3, row.cells["source"])
		})
	}
}

func TestPublishedVentilationExamples(t *testing.T) {
	worked := map[string]func() float64{
		// 80 lb/h at a hood that captures 92 %: what escapes, here 80 g/min for an hour, read off a room without flow.
		"v-02": func() float64 {
			source := Source{CaptureFraction: 0.92, Releases: []Release{{"SO2", 0, 1, 80}}}
			return milligrams(t, only(t, Zone{VolumeCubicMeters: 1000}, []Source{source}).At(1), 64.058)
		},
		// 0.010 m3/h of gas into 200 m3/h of air, steady.
		"v-11": func() float64 {
			zone := Zone{VolumeCubicMeters: 10, MixingFactor: 1, Flow: ConstantFlow(200. / 3600)}
			source := Source{Releases: []Release{{"SO2", 0, 1e4, gramsOf(t, 0.010/60)}}}
			return only(t, zone, []Source{source}).At(1e4)
		},
		// 60 m3 purged with 300 m3/h from 500 to 25 ppm.
		"v-14": func() float64 {
			zone := Zone{VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(300. / 3600),
				InitialPPM: map[string]float64{"CO": 500}}
			minute, ok := only(t, zone, nil).MinuteBelow(25)
			require.True(t, ok)
			return minute
		},
		// From 20 % to 1.4 % by volume with an effectiveness of 0.20: air changes, one a minute here.
		"v-17": func() float64 {
			zone := Zone{VolumeCubicMeters: 60, MixingFactor: 5, Flow: ConstantFlow(1),
				InitialPPM: map[string]float64{"CO": 200000}}
			minute, ok := only(t, zone, nil).MinuteBelow(14000)
			require.True(t, ok)
			return minute
		},
		// 10 g/h of SO2 into 50 m3 with 100 m3/h after half an hour, mg/m3.
		"v-31": func() float64 {
			zone := Zone{VolumeCubicMeters: 50, MixingFactor: 1, Flow: ConstantFlow(100. / 3600)}
			source := Source{Releases: []Release{{"SO2", 0, 60, 10. / 60}}}
			gramsPerMole, err := GramsPerMole("SO2")
			require.NoError(t, err)
			return milligrams(t, only(t, zone, []Source{source}).At(30), gramsPerMole)
		},
	}
	rows := readPublished(t, "ventilation-examples.csv")
	require.Len(t, rows, len(worked))
	for _, row := range rows {
		t.Run(row.cells["id"], func(t *testing.T) {
			assert.InDelta(t, row.number("expected"), worked[row.cells["id"]](), row.number("tolerance"), row.cells["source"])
		})
	}
}

// milligrams is a concentration in mg/m3, by PPMFromMilligrams.
func milligrams(t *testing.T, ppm, gramsPerMole float64) float64 {
	t.Helper()
	each, err := PPMFromMilligrams(1, gramsPerMole)
	require.NoError(t, err)
	return ppm / each
}

// The published factors of mg/m3 for one ppm have two decimals.
func TestPublishedUnitFactors(t *testing.T) {
	rows := readPublished(t, "ppm-mgm3.csv")
	require.Len(t, rows, 5)
	for _, row := range rows {
		t.Run(row.cells["formula"], func(t *testing.T) {
			gramsPerMole, err := GramsPerMole(row.cells["formula"])
			require.NoError(t, err)
			assert.InDelta(t, row.number("molar_mass"), gramsPerMole, 2e-4*gramsPerMole, row.cells["source"])
			factor := milligrams(t, 1, gramsPerMole)
			assert.InDelta(t, row.number("published_factor_mg_m3_per_ppm"), factor, row.number("tolerance"), row.cells["source"])
			// 24.45 l/mol against the exact 24.4654: 0.06 %.
			assert.InEpsilon(t, row.number("computed_factor"), factor, 1e-3, row.cells["source"])
		})
	}
}

// Every limit that may refuse, as its source states it, copied out once more: the table says the same and was read there.
func TestPublishedExposureLimits(t *testing.T) {
	for _, row := range readPublished(t, "exposure-limits.csv") {
		cell := func(name string) string { return row.cells[name] }
		t.Run(cell("substance")+" "+cell("body")+" "+cell("limit")+" "+cell("fraction"), func(t *testing.T) {
			number := func(name string) float64 {
				if cell(name) == "" {
					return 0
				}
				return row.number(name)
			}
			found := slices.ContainsFunc(data.ExposureLimits(), func(l data.ExposureLimit) bool {
				return l.Formula == cell("formula") && l.Authority == cell("body") && string(l.Kind) == cell("limit") &&
					float64(l.AveragingMinutes) == number("averaging_min") && l.PPM == number("ppm") &&
					l.MilligramsPerCubicMeter == number("mg_m3") && l.Fraction == cell("fraction") && l.Read == data.WasRead
			})
			assert.True(t, found, "%v", row.cells)
		})
	}
}
