package heat

import (
	"fmt"
	"math"

	"saggar/chem/finding"
)

// SegmentTime is how long one segment takes, its ramp and its hold together.
type SegmentTime struct {
	Index int `json:"index"`
	// AskedMinutes is what the program asks: its ramp at the asked rate (0 at full power) and the hold.
	AskedMinutes float64 `json:"asked_minutes"`
	// PossibleMinutes is the least that the furnace needs, ramp and hold; 0 when unreachable.
	PossibleMinutes float64 `json:"possible_minutes"`
	// DurationMinutes is what it takes: at the asked rate while the furnace follows, at its own after; 0 when unreachable.
	DurationMinutes float64 `json:"duration_minutes"`
	// RampMinutes is the part of DurationMinutes before the hold. A charge that goes into a hot furnace takes what it needs
	// to come up to that heat in the first ramp.
	RampMinutes float64 `json:"ramp_minutes"`
	Reachable   bool    `json:"reachable"`
	// MeanInputKilowatts is what the supply gives over the segment, averaged over the switching of the elements.
	MeanInputKilowatts float64 `json:"mean_input_kilowatts"`
}

// Result is what a program does on a furnace.
type Result struct {
	Segments []SegmentTime `json:"segments"`
	// Reachable is false when any segment is not; such a segment is left out of times, profile and energy.
	Reachable      bool    `json:"reachable"`
	StartCelsius   float64 `json:"start_celsius"`
	EndCelsius     float64 `json:"end_celsius"` // at the end of the last segment
	FireMinutes    float64 `json:"fire_minutes"`
	CoolingMinutes float64 `json:"cooling_minutes"` // from the last segment to OpenBelowCelsius, as the program cools
	TotalMinutes   float64 `json:"total_minutes"`
	// OpenBelowCelsius is the temperature to which cooling was followed.
	OpenBelowCelsius float64 `json:"open_below_celsius"`
	// EnergyKilowattHours is the heat into the chamber over the fire, and InputKilowattHours what the supply gives for it.
	// It is the sum of the three below it.
	EnergyKilowattHours float64 `json:"energy_kilowatt_hours"`
	// ChargeKilowattHours is what the charge takes, less what it gives back where the furnace cools with its heat off within
	// the program. 0 without a curve of its uptake.
	ChargeKilowattHours float64 `json:"charge_kilowatt_hours"`
	// WallLossKilowattHours goes out through the lining while the program lasts.
	WallLossKilowattHours float64 `json:"wall_loss_kilowatt_hours"`
	// StoredKilowattHours is what chamber and lining hold at the end of the last segment more than at the start; below 0
	// when they end colder.
	StoredKilowattHours float64 `json:"stored_kilowatt_hours"`
	InputKilowattHours  float64 `json:"input_kilowatt_hours"`
	// PeakKilowatts is the most that the program asks of the supply at any moment, as a mean over the switching of the
	// elements; full input at full power. A furnace that switches its elements on and off draws its full input whenever they
	// are on, so a supply is held against that (the phases' Kilowatts), never against this or a mean.
	PeakKilowatts float64 `json:"peak_kilowatts"`
	// Profile is the temperature over fire and cooling, minute 0 at the start of the first segment.
	Profile     []Point  `json:"profile"`
	Assumptions []string `json:"assumptions"`
}

// Run follows a program from a start temperature, and the cooling after it to DefaultOpenBelowCelsius.
func Run(f Furnace, c Constants, p Program, startCelsius float64) (Result, error) {
	return RunUntil(f, c, p, startCelsius, DefaultOpenBelowCelsius)
}

// RunUntil is Run with the temperature to which the charge cools before the furnace is opened; see RunCharged.
func RunUntil(f Furnace, c Constants, p Program, startCelsius, openBelowCelsius float64) (Result, error) {
	return RunCharged(f, c, p, Conditions{StartCelsius: startCelsius, OpenBelowCelsius: openBelowCelsius})
}

// Conditions are what a program meets.
type Conditions struct {
	StartCelsius     float64
	OpenBelowCelsius float64
	// ChargeHeat is what the charge takes, beginning with 0 kJ at the temperature of the cold charge; empty: not counted. It
	// slows heating, and cooling too: what the charge gives back is its whole uptake spread evenly over the curve. Heat that
	// it gives off is not credited.
	ChargeHeat []HeatUptake
	// ChargedHot says that the charge goes in cold at StartCelsius; otherwise it is as hot as the furnace then.
	ChargedHot bool
}

// RunCharged follows a program under the conditions given. A program that the furnace cannot reach is no error; see
// Result.Reachable. The error is finding.Faults with fields of Program, and "start_celsius", "open_below_celsius",
// "charge_heat" or "constants".
func RunCharged(f Furnace, c Constants, p Program, given Conditions) (Result, error) {
	start, openBelow := given.StartCelsius, given.OpenBelowCelsius
	faults := p.Faults()
	faults = append(faults, c.faults()...)
	inRange(&faults, "start_celsius", start, minCelsius, maxCelsius)
	inRange(&faults, "open_below_celsius", openBelow, c.AmbientCelsius+minAboveAmbientCelsius, maxCelsius)
	faults = append(faults, uptakeFaults(given.ChargeHeat)...)
	if err := faults.Err(); err != nil {
		return Result{}, err
	}
	r := runner{furnace: f, constants: c, charge: newCharge(given.ChargeHeat), result: Result{Reachable: true,
		StartCelsius: start, EndCelsius: start, OpenBelowCelsius: openBelow, Profile: []Point{{Celsius: start}}}}
	r.start(given)
	for i, s := range p.Segments {
		r.segment(i, s)
	}
	r.cool(p.Cooling)
	if r.result.TotalMinutes > maxProgramMinutes {
		r.faults.Add("segments", fmt.Sprintf("the program takes %.0f minutes", r.result.TotalMinutes),
			fmt.Sprintf("give at most %.0f in all", maxProgramMinutes))
	}
	if err := r.faults.Err(); err != nil {
		return Result{}, err
	}
	r.assume(p)
	return r.result, nil
}

// runner walks through a program segment by segment.
type runner struct {
	furnace   Furnace
	constants Constants
	charge    charge
	cooler    cooler
	// owed is the heat that a charge put into a hot furnace takes before the first ramp.
	owed   course
	result Result
	faults finding.Faults
}

// start puts the charge into the furnace.
func (r *runner) start(given Conditions) {
	c, start := r.constants, given.StartCelsius
	r.cooler = cooler{constants: c, perKelvin: r.charge.perKelvin}
	r.cooler.heated(start)
	if taken := r.charge.takenUpTo(start); given.ChargedHot && taken > 0 {
		if start >= c.FinalCelsius {
			r.faults.Add("start_celsius", fmt.Sprintf("%g C leaves no power for the charge: full power settles at %.0f C", start,
				c.FinalCelsius), "charge the furnace colder")
			return
		}
		r.owed = course{c.dwell(start, taken)}
	}
	r.charge.heated(start)
}

func (r *runner) segment(index int, s Segment) {
	from := r.result.EndCelsius
	asked := askedRampMinutes(from, s)
	if asked > maxStretchMinutes {
		r.faults.Add(fmt.Sprintf("segments[%d].rate_celsius_per_hour", index), fmt.Sprintf("%g takes %.0f minutes from %.0f C",
			s.RateCelsiusPerHour, asked, from), fmt.Sprintf("give a rate that takes at most %.0f minutes", maxStretchMinutes))
		asked = maxStretchMinutes
	}
	times := SegmentTime{Index: index, AskedMinutes: asked + s.HoldMinutes}
	fastest := r.cooler
	possible := r.ramp(&fastest, from, s.ToCelsius, 0).minutes() + r.owed.minutes()
	if !r.reachable(from, s.ToCelsius) || possible > maxStretchMinutes {
		r.result.Reachable = false
		r.result.Segments = append(r.result.Segments, times)
		return
	}
	way := append(r.owed, r.ramp(&r.cooler, from, s.ToCelsius, s.RateCelsiusPerHour)...)
	r.owed = nil
	times.Reachable = true
	times.PossibleMinutes = possible + s.HoldMinutes
	times.RampMinutes = way.minutes()
	times.DurationMinutes = times.RampMinutes + s.HoldMinutes
	input := r.fire(append(way, piece{from: s.ToCelsius, to: s.ToCelsius, minutes: s.HoldMinutes}))
	if times.DurationMinutes > 0 {
		times.MeanInputKilowatts = min(input*60/times.DurationMinutes, r.constants.InputKilowatts)
	}
	r.result.Segments = append(r.result.Segments, times)
	r.cooler.heated(s.ToCelsius)
	r.cooler.held(s.ToCelsius, s.HoldMinutes)
	r.charge.heated(s.ToCelsius)
	r.result.EndCelsius = s.ToCelsius
}

// askedRampMinutes is how long a segment's ramp takes at the asked rate; 0 where it asks for all the furnace can do.
func askedRampMinutes(from float64, s Segment) float64 {
	if s.RateCelsiusPerHour == 0 {
		return 0
	}
	return 60 * math.Abs(s.ToCelsius-from) / s.RateCelsiusPerHour
}

// reachable holds a temperature against the furnace's top, where full power settles, and ambient.
func (r *runner) reachable(from, to float64) bool {
	if to > r.furnace.TopCelsius || to >= r.constants.FinalCelsius {
		return false
	}
	return to >= from || to > r.constants.AmbientCelsius
}

// ramp is the way between two temperatures at an asked rate, 0 for the fastest that the furnace and its control do.
// It is empty where there is no way.
func (r *runner) ramp(k *cooler, from, to, celsiusPerHour float64) course {
	if !r.reachable(from, to) {
		return nil
	}
	rate := math.Inf(1)
	if celsiusPerHour > 0 {
		rate = celsiusPerHour / 60
	}
	if to < from {
		return k.fall(from, to, rate, 1)
	}
	if most := r.furnace.MaxRateCelsiusPerHour; most > 0 {
		rate = min(rate, most/60)
	}
	return r.constants.rise(r.charge.bands(from, to), rate)
}

// fire adds a course with the heat on, and gives the kilowatt hours that it asks of the supply.
func (r *runner) fire(way course) float64 {
	c, input := r.constants, 0.0
	inputShare := c.InputKilowatts / c.NetKilowatts
	for _, p := range way {
		mean, peak := c.power(p)
		energy, charge, stored := mean*p.minutes/60, p.chargeKilojoules/3600, c.storedKilowattHours(p)
		r.result.FireMinutes += p.minutes
		r.result.TotalMinutes += p.minutes
		r.result.EnergyKilowattHours += energy
		r.result.ChargeKilowattHours += charge
		r.result.StoredKilowattHours += stored
		r.result.WallLossKilowattHours += energy - charge - stored
		input += energy * inputShare
		r.result.PeakKilowatts = max(r.result.PeakKilowatts, peak*inputShare)
		r.result.Profile = p.points(r.result.Profile)
	}
	r.result.InputKilowattHours += input
	return input
}

// cool adds the cooling after the last segment.
func (r *runner) cool(cooling Cooling) {
	if r.result.EndCelsius <= r.result.OpenBelowCelsius {
		return
	}
	way := r.cooler.cooling(r.result.EndCelsius, r.result.OpenBelowCelsius, cooling)
	r.result.CoolingMinutes = way.minutes()
	r.result.TotalMinutes += r.result.CoolingMinutes
	for _, p := range way {
		r.result.Profile = p.points(r.result.Profile)
	}
}

// assume lists what the result rests on.
func (r *runner) assume(p Program) {
	notes := append([]string{}, r.constants.Assumptions...)
	hottest := 0.0
	for _, s := range p.Segments {
		hottest = max(hottest, s.ToCelsius)
	}
	if hottest > r.constants.MeasuredToCelsius {
		notes = append(notes, fmt.Sprintf("heating above %.0f C, the hottest measured, is extrapolated",
			r.constants.MeasuredToCelsius))
	}
	for _, times := range r.result.Segments {
		if !times.Reachable {
			notes = append(notes, fmt.Sprintf("segment %d, to %g C, is out of the furnace's reach: times, temperatures and "+
				"energy leave it out", times.Index, p.Segments[times.Index].ToCelsius))
		}
	}
	switch p.Cooling {
	case CoolOpen:
		notes = append(notes, fmt.Sprintf("cooling open taken as %.1f of the closed time above %d C and as closed below "+
			"(common practice, no source)", OpenCoolingShare, DefaultColdBelowCelsius))
	case SetDown:
		notes = append(notes, "a charge set down outside is taken to cool no faster than in the closed furnace "+
			"(common practice, no source)")
	}
	r.result.Assumptions = append(notes, r.charge.assumptions(hottest)...)
}

// CoolingMinutes is how long a closed empty furnace with its heat off takes from one temperature, where it was held long, to
// a colder one; 0 when it is that cold already. The error is finding.Faults naming "from_celsius", "to_celsius" or "constants".
func CoolingMinutes(c Constants, fromCelsius, toCelsius float64) (float64, error) {
	faults := c.faults()
	inRange(&faults, "from_celsius", fromCelsius, minCelsius, maxCelsius)
	inRange(&faults, "to_celsius", toCelsius, c.AmbientCelsius+minAboveAmbientCelsius, maxCelsius)
	if err := faults.Err(); err != nil {
		return 0, err
	}
	if fromCelsius <= toCelsius {
		return 0, nil
	}
	k := cooler{constants: c}
	k.heated(fromCelsius)
	return k.cooling(fromCelsius, toCelsius, CoolClosed).minutes(), nil
}
