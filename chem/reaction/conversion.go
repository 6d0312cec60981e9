package reaction

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/chem/kinetics"
)

// Request is what Along follows.
type Request struct {
	// Profile is the temperature at the charge's surface over time, in order; two points at one minute are a jump.
	Profile []heat.Point
	// InitialCelsius is the whole bed's temperature at the profile's first point.
	InitialCelsius float64
	// DepthMillimeters is how far the core lies from the face through which heat comes; 0: not known, and no core is followed.
	DepthMillimeters float64
	// DiffusivitySquareMetersPerSecond is the bed's thermal diffusivity; 0 means the tabled one.
	DiffusivitySquareMetersPerSecond float64
}

// InFurnace is the request of a charge in a furnace that follows a profile. A charge put in cold is as warm as the furnace;
// one put in hot, at a minute that may be before the profile's first, is at ambient temperature then.
func InFurnace(profile []heat.Point, chargeAtCelsius, chargeMinute float64) Request {
	if len(profile) == 0 {
		return Request{}
	}
	request := Request{Profile: profile, InitialCelsius: profile[0].Celsius}
	if chargeAtCelsius > heat.ColdChargeCelsius {
		request.InitialCelsius = heat.DefaultAmbientCelsius
		if chargeMinute < profile[0].Minute {
			request.Profile = slices.Insert(slices.Clone(profile), 0, heat.Point{Minute: chargeMinute, Celsius: chargeAtCelsius})
		}
	}
	return request
}

func (q Request) diffusivity() float64 {
	if q.DiffusivitySquareMetersPerSecond == 0 {
		return defaultDiffusivity().Value
	}
	return q.DiffusivitySquareMetersPerSecond
}

// Faults lists what is wrong with a request, under the names of its JSON and flags.
func (q Request) Faults() finding.Faults {
	var faults finding.Faults
	within := func(field string, value, low, high float64) {
		if math.IsNaN(value) || value < low || value > high {
			faults.Add(field, fmt.Sprintf("%g is not between %g and %g", value, low, high),
				fmt.Sprintf("give a number from %g to %g", low, high))
		}
	}
	if len(q.Profile) == 0 {
		faults.Add("profile", "there is no temperature profile", "give the program's temperatures over time")
	}
	for i, p := range q.Profile {
		within(fmt.Sprintf("profile[%d].celsius", i), p.Celsius, minCelsius, maxCelsius)
		field := fmt.Sprintf("profile[%d].minute", i)
		within(field, p.Minute, -maxProfileMinutes, maxProfileMinutes)
		if i > 0 && p.Minute < q.Profile[i-1].Minute {
			faults.Add(field, fmt.Sprintf("%g is before %g", p.Minute, q.Profile[i-1].Minute), "give the points in the order of time")
		}
	}
	within("initial_celsius", q.InitialCelsius, minCelsius, maxCelsius)
	within("depth_millimeters", q.DepthMillimeters, 0, maxDepthMillimeters)
	if q.DiffusivitySquareMetersPerSecond != 0 {
		within("diffusivity_square_meters_per_second", q.DiffusivitySquareMetersPerSecond, minDiffusivity, maxDiffusivity)
	}
	return faults
}

// Result is how far a reaction goes along a program. Fractions are in [0, 1].
type Result struct {
	Reaction string
	Equation string
	Model    string
	// PeakCelsius is the program's hottest, HoldMinutes how long it stays there from first reaching it.
	PeakCelsius float64
	HoldMinutes float64
	// Conversion is at the surface, which is as hot as the program says.
	Conversion float64
	// MeanConversion is the average over the bed and CoreConversion that of its core; nil without a depth: no 'enough' is given.
	MeanConversion *float64
	CoreConversion *float64
	// CorePeakCelsius is the hottest that the core comes.
	CorePeakCelsius *float64
	// MinutesTo99Percent is how long a hold at the peak would convert 99 % of what is reached last: the core, or without a depth
	// the surface. Cooling after the hold is not counted. Nil when no program could hold so long; Never then says why.
	MinutesTo99Percent *float64
	Never              string
	// EnoughCelsius is the peak at which the hold as it stands would do, where its own never does; nil when none up to 2000 C.
	EnoughCelsius *float64
	// HeldBack says that the peak is below where the reaction's gas comes to 1 bar: what the rate says then holds only where
	// moving air takes the gas away, and of a bed with a depth no hold and no conversion is called enough. Empty: it is not so,
	// or not known.
	HeldBack    string
	Source      string // of the rate
	Assumptions []string
	Caution     string
}

// Last is the conversion of what is reached last: the core's, or without a depth the surface's.
func (r Result) Last() float64 {
	if r.CoreConversion != nil {
		return *r.CoreConversion
	}
	return r.Conversion
}

// Enough reports that the core itself is converted to 99 %. Without a depth, or held back by its own gas, there is no
// 'enough'.
func (r Result) Enough() bool {
	return r.CoreConversion != nil && *r.CoreConversion >= EnoughFraction && r.HeldBack == ""
}

// Along follows a reaction along a profile. Errors: finding.Faults of the request, or of "reaction" when no rate is tabled.
func (r Reaction) Along(q Request) (Result, error) {
	if err := r.faults(q).Err(); err != nil {
		return Result{}, err
	}
	at, peak, hold := arrival(q.Profile)
	result := Result{
		Reaction: r.Name, Equation: r.Equation, Model: r.Kinetics.Model, PeakCelsius: peak, HoldMinutes: hold, Caution: Caution,
		Source: r.Kinetics.Source,
	}
	w := newWalk(r, q)
	coreMost := math.Inf(-1)
	tell := func() bool {
		coreMost = max(coreMost, w.temperature(w.last()))
		return !w.done() || w.temperature(w.last()) < w.face // it may still get hotter
	}
	tell()
	w.along(q.Profile[:at+1], tell)
	atPeak := *w
	w.along(q.Profile[at+1:], tell)
	result.Conversion = w.fraction(surfacePlace)
	if w.deep() {
		mean, core := w.meanFraction(), w.fraction(corePlace)
		result.MeanConversion, result.CoreConversion, result.CorePeakCelsius = &mean, &core, &coreMost
	}
	result.HeldBack = r.heldBack(peak)
	if held := result.HeldBack != "" && w.deep(); held {
		result.Never, result.EnoughCelsius = result.HeldBack, r.freeCelsius(q, hold)
	} else if minutes, ok := atPeak.hold(r.Rate.F.KineticTime(EnoughFraction), MaxHoldMinutes); ok {
		result.MinutesTo99Percent = &minutes
	} else {
		result.Never, result.EnoughCelsius = r.never(q, peak, hold)
	}
	result.Assumptions = r.assumptions(q, peak)
	return result, nil
}

func (r Reaction) faults(q Request) finding.Faults {
	faults := q.Faults()
	if !r.HasRate() {
		message := fmt.Sprintf("no rate is tabled for %s", r.Name)
		if r.LowCelsius < r.HighCelsius {
			message += fmt.Sprintf(", only its range, %g to %g C", r.LowCelsius, r.HighCelsius)
		}
		faults.Add("reaction", message, fmt.Sprintf("name one that has a rate: %q", Rated()))
	}
	return faults
}

// never says why no hold at the peak is enough, and finds a peak at which the hold as it stands would be.
func (r Reaction) never(q Request, peak, hold float64) (string, *float64) {
	reason := fmt.Sprintf("%.0f C is too cool: %g %% would take a hold of more than %.0f days", peak, 100*EnoughFraction,
		MaxHoldMinutes/60/24)
	return reason, r.peakThatDoes(q, peak, hold)
}

// freeCelsius is the peak, not below where the reaction's gas comes to 1 bar, at which the hold as it stands would be enough.
func (r Reaction) freeCelsius(q Request, hold float64) *float64 {
	free, _ := r.OneBarCelsius()
	if free = math.Ceil(free); r.doesAt(q, free, hold) {
		return &free
	}
	return r.peakThatDoes(q, free, hold)
}

// peakThatDoes halves its way from a peak that is too cool to one at which the hold as it stands is enough; nil when none up
// to 2000 C is.
func (r Reaction) peakThatDoes(q Request, low, hold float64) *float64 {
	const hottest = 2000.0
	if !r.doesAt(q, hottest, hold) {
		return nil
	}
	high := hottest
	for high-low > 1 {
		if middle := (low + high) / 2; r.doesAt(q, middle, hold) {
			high = middle
		} else {
			low = middle
		}
	}
	enough := math.Ceil(high)
	return &enough
}

// doesAt reports whether the program taken on at its last rate to another peak, with the hold as it stands, converts enough.
func (r Reaction) doesAt(q Request, peak, hold float64) bool {
	at, from, _ := arrival(q.Profile)
	hotter := q
	hotter.Profile = slices.Clone(q.Profile[:at+1])
	minutes := 0.0
	if at > 0 {
		before := q.Profile[at-1]
		if rise := from - before.Celsius; rise > 0 {
			minutes = (q.Profile[at].Minute - before.Minute) * (peak - from) / rise
		}
	}
	arrived := q.Profile[at].Minute + minutes
	hotter.Profile = append(hotter.Profile, heat.Point{Minute: arrived, Celsius: peak}, heat.Point{Minute: arrived + hold, Celsius: peak})
	w := newWalk(r, hotter)
	w.along(hotter.Profile, nil)
	return w.fraction(w.last()) >= EnoughFraction
}

// assumptions lists what a result rests on.
func (r Reaction) assumptions(q Request, peak float64) []string {
	k := r.Kinetics
	notes := []string{
		fmt.Sprintf("Rate of %s: %s; %s: %s.", r.Name, r.kineticsText(), k.Read, k.Source),
		"Models of f(alpha): " + kinetics.ModelSource + ".",
		"What is released is taken to leave freely: steam or carbon dioxide that stays in the bed or under a lid slows it.",
	}
	if reason := r.heldBack(peak); reason != "" {
		notes = append(notes, fmt.Sprintf("%s; what is said of conversion holds for a thin layer in moving air (%s). A recipe's "+
			"balance counts no more of it than its range of %g to %g C does.", reason, ownGasSource, r.LowCelsius, r.HighCelsius))
	}
	if peak < k.LowCelsius || peak > k.HighCelsius {
		notes = append(notes, fmt.Sprintf("The rate was measured from %g to %g C; at %.0f C it is carried on beyond that.",
			k.LowCelsius, k.HighCelsius, peak))
	}
	if q.DepthMillimeters == 0 {
		return append(notes, "The depth of the charge is not known: the conversion is that of a thin layer as hot as the program "+
			"says, and whether it is enough cannot be said.")
	}
	diffusivity := "as given"
	if q.DiffusivitySquareMetersPerSecond == 0 {
		d := defaultDiffusivity()
		diffusivity = fmt.Sprintf("%s: %s", cmp.Or(d.Read, "tabled"), d.Source)
	}
	return append(notes,
		fmt.Sprintf("Heat comes through one face of the bed only, and the core lies the whole %g mm from it, the cautious end: a bed "+
			"heated from both faces is like one of half the depth, and a crucible warmed all round is quicker still.", q.DepthMillimeters),
		fmt.Sprintf("Thermal diffusivity of the bed %.3g m2/s (%s).", q.diffusivity(), diffusivity),
		"The face of the bed is as hot as the program says; heat that the reaction takes or gives is not counted, so that a bed "+
			"that takes heat lags a little more.")
}
