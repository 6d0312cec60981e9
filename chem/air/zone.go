package air

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// DefaultMixingFactor is K where a room states none (common practice, no source). Rooms with poor mixing go up to 10.
const DefaultMixingFactor = 3

// FlowStep is a flow of fresh air that holds from its minute to the next step's.
type FlowStep struct {
	StartMinute          float64 `json:"start_minute"`
	CubicMetersPerSecond float64 `json:"cubic_meters_per_second"`
}

// ConstantFlow is a flow that holds at all times.
func ConstantFlow(cubicMetersPerSecond float64) []FlowStep {
	return []FlowStep{{CubicMetersPerSecond: cubicMetersPerSecond}}
}

// Zone is a room's air for one computation. All minutes share one origin of the caller's choice.
type Zone struct {
	// ID names the room in findings.
	ID                string  `json:"id"`
	VolumeCubicMeters float64 `json:"volume_cubic_meters"` // above zero
	// MixingFactor is K, at least 1; 0 means DefaultMixingFactor.
	MixingFactor float64 `json:"mixing_factor"`
	// Flow is in order of time; the first step also holds before its minute. None: no flow at all.
	Flow []FlowStep `json:"flow"`
	// BackgroundPPM is what the incoming air holds, by species. One that is not named is there as in outdoor air: CO2 by
	// its global mean, others not at all.
	BackgroundPPM map[string]float64 `json:"background_ppm"`
	// InitialPPM is what the room was measured to hold at StartMinute, by species. Where it is given no release may
	// begin earlier; where it is less than the background the background counts.
	InitialPPM  map[string]float64 `json:"initial_ppm"`
	StartMinute float64            `json:"start_minute"`
	// Unoccupied is when the room is closed and signed, so that nobody is inside. Limits are held over the rest of the time,
	// and at each end the gas must be gone so far that people may come in again. Other rooms get its air all the same.
	Unoccupied []Interval `json:"unoccupied"`
}

// Interval is [StartMinute, EndMinute).
type Interval struct {
	StartMinute float64 `json:"start_minute"`
	EndMinute   float64 `json:"end_minute"`
}

// Source is one furnace's firing (or anything else that gives off gas) with the share that is drawn away at it.
type Source struct {
	Name     string    `json:"name"`
	Releases []Release `json:"releases"`
	// CaptureFraction holds while the furnace is closed, DoorOpenFraction while a DoorOpen interval runs; each in [0, 1].
	CaptureFraction  float64    `json:"capture_fraction"`
	DoorOpenFraction float64    `json:"door_open_fraction"`
	DoorOpen         []Interval `json:"door_open"`
}

// Validate lists every fault of the zone and the sources; the error is a finding.Faults.
func Validate(zone Zone, sources []Source) error {
	var faults finding.Faults
	zone.validate(&faults)
	known := make([]string, 0, 8)
	for i := range sources {
		known = sources[i].validate(&faults, i, known)
		if len(zone.InitialPPM) > 0 {
			sources[i].validateStart(&faults, i, zone.StartMinute)
		}
	}
	return faults.Err()
}

func (z *Zone) validate(faults *finding.Faults) {
	if !(z.VolumeCubicMeters > 0) || !finite(z.VolumeCubicMeters) {
		faults.Add("volume_cubic_meters", fmt.Sprintf("%v is no volume", z.VolumeCubicMeters), "give a number above zero")
	}
	if z.MixingFactor != 0 && (!(z.MixingFactor >= 1) || !finite(z.MixingFactor)) {
		faults.Add("mixing_factor", fmt.Sprintf("%v is below 1", z.MixingFactor), "give at least 1, or 0 for the default of 3")
	}
	if !finite(z.StartMinute) {
		faults.Add("start_minute", fmt.Sprintf("%v is no time", z.StartMinute), "give a finite minute")
	}
	for i, step := range z.Flow {
		if !atLeastZero(step.CubicMetersPerSecond) {
			faults.Add(fmt.Sprintf("flow[%d].cubic_meters_per_second", i),
				fmt.Sprintf("%v is no flow", step.CubicMetersPerSecond), "give a number of at least zero")
		}
		if !finite(step.StartMinute) || i > 0 && step.StartMinute <= z.Flow[i-1].StartMinute {
			faults.Add(fmt.Sprintf("flow[%d].start_minute", i),
				fmt.Sprintf("%v is not after the step before", step.StartMinute), "give the steps in order of time")
		}
	}
	validateIntervals(faults, "unoccupied", z.Unoccupied)
	validateConcentrations(faults, "background_ppm", z.BackgroundPPM)
	validateConcentrations(faults, "initial_ppm", z.InitialPPM)
}

func validateConcentrations(faults *finding.Faults, field string, bySpecies map[string]float64) {
	for _, species := range slices.Sorted(maps.Keys(bySpecies)) {
		ppm := bySpecies[species]
		if !atLeastZero(ppm) || ppm > 1e6 {
			faults.Add(fmt.Sprintf("%s[%s]", field, species), fmt.Sprintf("%v ppm", ppm), "give 0 to 1000000 ppm")
		}
		if _, err := GramsPerMole(species); err != nil {
			faults.Add(fmt.Sprintf("%s[%s]", field, species), err.Error(), "give a formula such as SO2")
		}
	}
}

// validate adds the faults of a source. Species that are known to have a formula are not parsed again.
func (s *Source) validate(faults *finding.Faults, index int, known []string) []string {
	path := func(field string) string { return fmt.Sprintf("sources[%d].%s", index, field) }
	if !fraction(s.CaptureFraction) {
		faults.Add(path("capture_fraction"), fmt.Sprintf("%v is no share", s.CaptureFraction), "give 0 to 1")
	}
	if !fraction(s.DoorOpenFraction) {
		faults.Add(path("door_open_fraction"), fmt.Sprintf("%v is no share", s.DoorOpenFraction), "give 0 to 1")
	}
	for i, r := range s.Releases {
		if !atLeastZero(r.GramsPerMinute) {
			faults.Add(path(fmt.Sprintf("releases[%d].grams_per_minute", i)),
				fmt.Sprintf("%v is no release", r.GramsPerMinute), "give a number of at least zero")
		}
		if !(r.StartMinute < r.EndMinute) || !finite(r.StartMinute) || !finite(r.EndMinute) {
			faults.Add(path(fmt.Sprintf("releases[%d].end_minute", i)),
				fmt.Sprintf("from %v to %v is no stretch of time", r.StartMinute, r.EndMinute), "give an end after the start")
		}
		if slices.Contains(known, r.Species) {
			continue
		}
		if _, err := GramsPerMole(r.Species); err != nil {
			faults.Add(path(fmt.Sprintf("releases[%d].species", i)), err.Error(), "give a formula such as SO2")
			continue
		}
		known = append(known, r.Species)
	}
	validateIntervals(faults, path("door_open"), s.DoorOpen)
	return known
}

func validateIntervals(faults *finding.Faults, field string, intervals []Interval) {
	for i, interval := range intervals {
		if !(interval.StartMinute < interval.EndMinute) || !finite(interval.StartMinute) || !finite(interval.EndMinute) {
			faults.Add(fmt.Sprintf("%s[%d].end_minute", field, i),
				fmt.Sprintf("from %v to %v is no stretch of time", interval.StartMinute, interval.EndMinute),
				"give an end after the start")
		}
	}
}

// validateStart refuses releases from before the moment at which the room was measured.
func (s *Source) validateStart(faults *finding.Faults, index int, startMinute float64) {
	for i, r := range s.Releases {
		if r.StartMinute < startMinute {
			faults.Add(fmt.Sprintf("sources[%d].releases[%d].start_minute", index, i),
				fmt.Sprintf("%v is before start_minute %v, when initial_ppm was measured", r.StartMinute, startMinute),
				"begin releases at or after start_minute, or leave initial_ppm out")
		}
	}
}

// fault is one fault of an input as an error.
func fault(field, message, cure string) error {
	return finding.Faults{{Field: field, Message: message, Cure: cure}}
}

func finite(x float64) bool      { return !math.IsNaN(x) && !math.IsInf(x, 0) }
func atLeastZero(x float64) bool { return x >= 0 && finite(x) }
func fraction(x float64) bool    { return x >= 0 && x <= 1 }

// background is what the incoming air holds of all that counts as one species.
func (z *Zone) background(counted string) float64 {
	if outdoor, there := outdoorAir()[counted]; there {
		if _, named := z.BackgroundPPM[counted]; !named {
			return outdoor.PPM
		}
	}
	return countedTogether(z.BackgroundPPM, counted)
}

// outdoorAir is read once, by species.
var outdoorAir = sync.OnceValue(func() map[string]data.Background {
	air := map[string]data.Background{}
	for _, row := range data.IncomingAir() {
		air[row.Species] = row
	}
	return air
})

// mixing is K with its default.
func (z *Zone) mixing() float64 {
	if z.MixingFactor == 0 {
		return DefaultMixingFactor
	}
	return z.MixingFactor
}

// exchange is the rate Q/(K V) per minute of a flow.
func (z *Zone) exchange(cubicMetersPerSecond float64) float64 {
	return cubicMetersPerSecond * 60 / (z.mixing() * z.VolumeCubicMeters)
}

// exchanges are the rates over time, the first of them from ever.
func (z *Zone) exchanges() []rateStep {
	if len(z.Flow) == 0 {
		return []rateStep{{minute: math.Inf(-1)}}
	}
	steps := make([]rateStep, len(z.Flow))
	for i, step := range z.Flow {
		steps[i] = rateStep{step.StartMinute, z.exchange(step.CubicMetersPerSecond)}
	}
	steps[0].minute = math.Inf(-1)
	return steps
}

// openings are the source's door-open intervals in order and without overlap.
func (s *Source) openings() []Interval {
	apart := func(list []Interval) bool {
		for i := 1; i < len(list); i++ {
			if list[i].StartMinute < list[i-1].EndMinute {
				return false
			}
		}
		return true
	}
	if apart(s.DoorOpen) {
		return s.DoorOpen
	}
	return joined(s.DoorOpen)
}
