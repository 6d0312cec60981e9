package air

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

const (
	halfMask = "air_purifying/negative pressure/half_mask"
	fullFace = "air_purifying/negative pressure/full_facepiece"
	tank     = "scba/pressure demand or other positive pressure/full_facepiece"
)

func class(t *testing.T, species string, ppm float64, name string) ProtectionClass {
	t.Helper()
	classes := Protection(species, ppm)
	at := slices.IndexFunc(classes, func(p ProtectionClass) bool { return p.Class == name })
	require.GreaterOrEqual(t, at, 0, name)
	return classes[at]
}

// 29 CFR 1910.134(d)(3)(i)(A) Table 1, copied out once more: the lower value where two are given.
func TestPublishedProtectionFactors(t *testing.T) {
	rows := readPublished(t, "respirator-apf.csv")
	require.Len(t, rows, 20)
	for _, row := range rows {
		t.Run(row.cells["type"]+" "+row.cells["mode"]+" "+row.cells["facepiece"], func(t *testing.T) {
			name := row.cells["type"] + "/" + row.cells["mode"] + "/" + row.cells["facepiece"]
			row.cells["apf"], _, _ = strings.Cut(row.cells["apf"], "/")
			assert.Equal(t, row.number("apf"), class(t, "SO2", 1, name).AssignedProtectionFactor, row.cells["source"])
		})
	}
}

func TestPublishedMaximumUse(t *testing.T) {
	worked := map[string][3]float64{ // factor, limit, dangerous to life, as the rows' inputs say
		"muc-1": {10, 5, 100}, "muc-2": {50, 5, 100}, "muc-3": {10, 0.05, 50}, "muc-4": {10, 20, 100},
	}
	seen := 0
	for _, row := range readPublished(t, "exposure-examples.csv") {
		if in, ok := worked[row.cells["id"]]; ok {
			seen++
			t.Run(row.cells["id"], func(t *testing.T) {
				assert.Equal(t, row.number("expected"), maximumUse(in[0], in[1], in[2]), row.cells["source"])
			})
		}
	}
	assert.Equal(t, len(worked), seen)
}

func TestProtection(t *testing.T) {
	cases := []struct {
		species string
		ppm     float64
		class   string
		enough  bool
		goggles bool
		reason  string
	}{
		{"SO2", 20, halfMask, true, true, "goggles"}, // ten times NIOSH's 2 ppm
		{"SO2", 20.1, halfMask, false, true, "above the maximum use concentration of 20 ppm"},
		{"SO2", 100, fullFace, true, false, "within"},
		{"SO2", 101, fullFace, false, false, "dangerous to life"},
		{"SO2", 101, tank, false, false, "dangerous to life"},
		{"CO", 40, fullFace, false, false, "no cartridge holds CO back"},
		{"CO", 40, tank, true, false, "within"},
		{"H2S", 12, fullFace, false, false, "escape only"},
		{"H2S", 12, tank, true, false, "within"},
		{"C2H2", 1, tank, false, false, "no limit"},
		{"C2H2", 1, fullFace, false, false, "no cartridge is known"},
		{"SO3", 1, fullFace, true, false, "within"},
		{"SO2", -1, tank, false, false, "no concentration"},
	}
	for _, c := range cases {
		t.Run(c.species+" "+c.class, func(t *testing.T) {
			got := class(t, c.species, c.ppm, c.class)
			assert.Equal(t, c.enough, got.Enough, got.Reason)
			assert.Equal(t, c.goggles, got.NeedsGoggles)
			assert.Contains(t, got.Reason, c.reason)
		})
	}
}

// An open door that spills 3 g/min of SO2: beside it the room's air and G/beta, elsewhere the room's.
func nearCase() NearCheck {
	return NearCheck{
		Zone: Zone{ID: "kiln-room", VolumeCubicMeters: 200, MixingFactor: 1, Flow: ConstantFlow(1)},
		Sources: []Source{
			{Name: "muffle-1", CaptureFraction: 0.9, DoorOpenFraction: 0.5, Releases: []Release{{"SO2", 0, 60, 3}},
				DoorOpen: []Interval{{10, 20}}},
			{Name: "muffle-2", Releases: []Release{{"SO2", 5, 50, 0.2}}, DoorOpen: []Interval{{30, 40}}},
		},
	}
}

func TestNearField(t *testing.T) {
	check := nearCase()
	near, err := NearField(check.Zone, check.Sources, 0, 0.2)
	require.NoError(t, err)
	room := only(t, check.Zone, check.Sources)
	require.Len(t, near, 1)
	spill := 3 * 0.5 / 60 / 0.2 * 1000 * 24.45 / 64.058 // g/s over m3/s as mg/m3, as ppm
	for _, minute := range []float64{-1, 5, 9.999, 20, 35, 90} {
		assert.InDelta(t, room.At(minute), near[0].At(minute), 1e-9, "minute %v: the room's own", minute)
	}
	for _, minute := range []float64{10, 15, 19.999} {
		assert.InEpsilon(t, room.At(minute)+spill, near[0].At(minute), 1e-3, "minute %v: the door is open", minute)
	}
	peak, at := near[0].Peak()
	assert.Equal(t, 20.0, at, "just before the door closes")
	assert.InDelta(t, near[0].At(20-1e-9), peak, 1e-6)

	// The mean over the ten minutes that the door is open, by summing plainly.
	mean, start := near[0].MaxMean(10)
	assert.InDelta(t, 10, start, 1e-9)
	sum := 0.0
	for i := range 100000 {
		sum += near[0].At(10 + (float64(i)+0.5)*1e-4)
	}
	assert.InEpsilon(t, sum/100000, mean, 1e-6)

	_, err = NearField(check.Zone, check.Sources, 2, 0.2)
	assert.ErrorContains(t, err, "at: 2 is no source")
	_, err = NearField(check.Zone, check.Sources, 0, 0)
	assert.ErrorContains(t, err, "exchange_cubic_meters_per_second")
}

// What stands beside a furnace above the room's air is the spill of every release of that moment over the exchange, however
// many begin and end within the same minute.
func TestWhatSpillsAgainstThePlainSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		source := Source{Name: "muffle", DoorOpenFraction: rapid.Float64Range(0, 0.9).Draw(t, "open")}
		minute := rapid.IntRange(0, 12)
		for range rapid.IntRange(1, 30).Draw(t, "releases") {
			from := float64(minute.Draw(t, "from"))
			source.Releases = append(source.Releases, Release{"SO2", from, from + 1 + float64(minute.Draw(t, "for")), 0.1})
		}
		for range rapid.IntRange(1, 3).Draw(t, "openings") {
			from := float64(minute.Draw(t, "opens"))
			source.DoorOpen = append(source.DoorOpen, Interval{from, from + 1 + float64(minute.Draw(t, "stays"))})
		}
		zone := Zone{VolumeCubicMeters: 100, MixingFactor: 1, Flow: ConstantFlow(0.5)}
		near, err := NearField(zone, []Source{source}, 0, 0.2)
		require.NoError(t, err)
		room := only(t, zone, []Source{source})
		for middle := 0.5; middle < 30; middle++ {
			spill := 0.0
			if isClosed(source.DoorOpen, middle) { // the door stands open
				spill = plainSpill([]Source{source}, "SO2", middle) / 60 / 0.2 * 1000 * 24.45 / 64.058
			}
			assert.InDelta(t, spill, near[0].At(middle)-room.At(middle), 1e-4*spill+1e-9, "minute %v", middle)
		}
	})
}

func TestCheckNear(t *testing.T) {
	cases := map[string]struct {
		change   func(*NearCheck)
		severity finding.Severity
		code     string
	}{
		"nothing worn":     {func(c *NearCheck) { c.Sources[0].Releases[0].GramsPerMinute = 0.4 }, finding.Warn, "AIR_PROTECTION_NEEDED"},
		"too little worn":  {func(c *NearCheck) { c.Worn = halfMask }, finding.Block, "AIR_PROTECTION_NOT_ENOUGH"},
		"enough worn":      {func(c *NearCheck) { c.Worn = fullFace }, finding.Note, "AIR_PROTECTION_WORN"},
		"no goggles":       {func(c *NearCheck) { c.Sources[0].Releases[0].GramsPerMinute, c.Worn = 0.4, halfMask }, finding.Block, "AIR_PROTECTION_NOT_ENOUGH"},
		"goggles":          {func(c *NearCheck) { c.Sources[0].Releases[0].GramsPerMinute, c.Worn, c.Goggles = 0.4, halfMask, true }, finding.Note, "AIR_PROTECTION_WORN"},
		"danger to life":   {func(c *NearCheck) { c.Sources[0].Releases[0].GramsPerMinute, c.Worn = 9, tank }, finding.Block, "AIR_NEAR_IDLH"},
		"more exchange":    {func(c *NearCheck) { c.ExchangeCubicMetersPerSecond = 0.04 }, finding.Block, "AIR_NEAR_IDLH"},
		"a clean furnace":  {func(c *NearCheck) { c.Sources = c.Sources[1:]; c.Sources[0].Releases[0].GramsPerMinute = 1e-4 }, "", ""},
		"door kept closed": {func(c *NearCheck) { c.Sources[0].DoorOpen = nil }, "", ""},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			check := nearCase()
			c.change(&check)
			got, err := CheckNear(check)
			require.NoError(t, err)
			assert.Equal(t, Caution, got.Caution)
			assert.NotEmpty(t, got.Assumptions)
			if c.code == "" {
				assert.Empty(t, got.Findings)
				return
			}
			require.Len(t, got.Findings, 1)
			assert.Equal(t, c.code, got.Findings[0].Code, got.Findings[0].Cure)
			assert.Equal(t, c.severity, got.Findings[0].Severity)
			assert.NotEmpty(t, got.Findings[0].Cure)
		})
	}
	check := nearCase()
	check.Worn = "scarf"
	_, err := CheckNear(check)
	assert.ErrorContains(t, err, "worn")
}
