package heat

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
	"saggar/chem/finding"
)

// LogSpans say which parts of a temperature log are what, in the log's minutes.
type LogSpans struct {
	// FullPower are stretches of heating with all the power on, held back neither by control nor by hand.
	FullPower []Span
	// ClosedCooling are stretches of cooling with the heat off and everything shut.
	ClosedCooling []Span
}

// Estimate is a value found from readings, with its standard error and the interval that holds the true value in 95 of 100
// logs like it, if the furnace is the model and the readings scatter by chance.
type Estimate struct {
	Value         float64 `json:"value"`
	StandardError float64 `json:"standard_error"`
	Low95         float64 `json:"low_95"`
	High95        float64 `json:"high_95"`
}

// LiningEstimate is a Lining with what is known of its values.
type LiningEstimate struct {
	FastTauMinutes Estimate `json:"fast_tau_minutes"`
	SlowTauMinutes Estimate `json:"slow_tau_minutes"`
	SlowShare      Estimate `json:"slow_share"`
}

// LogFit is what a log says of a furnace. What the log has no stretch for is nil.
type LogFit struct {
	FinalCelsius      *Estimate `json:"final_celsius,omitempty"`
	HeatingTauMinutes *Estimate `json:"heating_tau_minutes,omitempty"`
	CoolingTauMinutes *Estimate `json:"cooling_tau_minutes,omitempty"`
	// Lining is nil where one lump is all that the log tells.
	Lining *LiningEstimate `json:"lining,omitempty"`
	// RMSCelsius is the root mean square of what the fitted readings are off the fitted course, HeatingRMSCelsius and
	// CoolingRMSCelsius are those of either part.
	RMSCelsius        float64 `json:"rms_celsius"`
	HeatingRMSCelsius float64 `json:"heating_rms_celsius"`
	CoolingRMSCelsius float64 `json:"cooling_rms_celsius"`
	// HeatingTimes and CoolingTimes are stretches of the fitted course within what was logged, for the furnace's description.
	HeatingTimes []Timing `json:"heating_times,omitempty"`
	CoolingTimes []Timing `json:"cooling_times,omitempty"`
	// Constants are those of the furnace with these times instead of its own; nil when the furnace was not described.
	Constants   *Constants `json:"constants,omitempty"`
	Assumptions []string   `json:"assumptions"`
}

// Least numbers of readings: of a stretch, and above and below 300 C for two lumps.
const (
	leastReadings = 6
	eachSideOf300 = 8
	// leastSpanCelsius is how far a cooling must reach above and below 300 C to tell the lining.
	leastSpanCelsius = 100
)

// FitLog finds a furnace's constants from readings of its temperature by non-linear least squares: where full power settles
// and the time constant of heating, T(t) = T_inf - (T_inf - T0) exp(-t/tau); the time constant of closed cooling, from the
// readings at or above 300 C where there are enough; and two lumps where a cooling goes from at least 400 C to at most 200 C,
// has readings enough on both sides of 300 C and fits them twice as well as one lump. Every stretch has its own start T0.
//
// Standard errors are those of the linearised fit, widened when neighbouring readings stray together. A furnace with a source
// is described well enough to be fitted with the times found; one with only its ambient temperature serves too.
//
// The error is finding.Faults: "log[3].minute" and the like, "full_power[0]", "closed_cooling[0]", "furnace." and a field of
// it, or a constant that the log does not determine, because its interval is wider than itself.
func FitLog(log []Point, spans LogSpans, f Furnace) (LogFit, error) {
	l := logFitter{log: log, furnace: f, ambient: f.AmbientCelsius}
	if l.ambient == 0 {
		l.ambient = DefaultAmbientCelsius
		l.assume("ambient taken as %d C: none stated (common practice, no source)", DefaultAmbientCelsius)
	}
	inRange(&l.faults, "furnace.ambient_celsius", l.ambient, minCelsius, maxAmbientCelsius)
	l.checkLog()
	if len(spans.FullPower)+len(spans.ClosedCooling) == 0 {
		l.faults.Add("full_power", "no stretch of the log is named", "give the minutes of a full-power heating or a closed cooling")
	}
	if err := l.faults.Err(); err != nil {
		return LogFit{}, err
	}
	heating, cooling := l.cut("full_power", spans.FullPower), l.cut("closed_cooling", spans.ClosedCooling)
	l.checkApart(spans)
	if err := l.faults.Err(); err != nil {
		return LogFit{}, err
	}
	l.heating(heating)
	l.cooling(cooling)
	if n := l.heated + l.cooled; n > 0 {
		hot, cold := l.fit.HeatingRMSCelsius, l.fit.CoolingRMSCelsius
		l.fit.RMSCelsius = math.Sqrt((hot*hot*float64(l.heated) + cold*cold*float64(l.cooled)) / float64(n))
	}
	l.describe()
	if err := l.faults.Err(); err != nil {
		return LogFit{}, err
	}
	return l.fit, nil
}

type logFitter struct {
	log     []Point
	furnace Furnace
	ambient float64
	heated  int // readings that were fitted
	cooled  int
	fit     LogFit
	faults  finding.Faults
}

func (l *logFitter) assume(format string, values ...any) {
	l.fit.Assumptions = append(l.fit.Assumptions, fmt.Sprintf(format, values...))
}

func (l *logFitter) checkLog() {
	if len(l.log) < leastReadings {
		l.faults.Add("log", fmt.Sprintf("%d readings", len(l.log)), fmt.Sprintf("give at least %d", leastReadings))
	}
	for i, p := range l.log {
		at := fmt.Sprintf("log[%d].", i)
		inRange(&l.faults, at+"minute", p.Minute, -maxProgramMinutes, maxProgramMinutes)
		inRange(&l.faults, at+"celsius", p.Celsius, minCelsius, maxCelsius)
		if i > 0 && p.Minute <= l.log[i-1].Minute {
			l.faults.Add(at+"minute", fmt.Sprintf("%g does not come after %g", p.Minute, l.log[i-1].Minute),
				"give the readings in the order of time")
		}
		if len(l.faults) > 20 {
			return
		}
	}
}

// cut takes the readings of each stretch, their minutes counted from its start, and checks that they go the right way.
func (l *logFitter) cut(field string, spans []Span) [][]Point {
	var list [][]Point
	for i, span := range spans {
		at := fmt.Sprintf("%s[%d]", field, i)
		if !(span.EndMinute > span.StartMinute) {
			l.faults.Add(at, fmt.Sprintf("%g to %g is no stretch of time", span.StartMinute, span.EndMinute),
				"give an end after the start")
			continue
		}
		var part []Point
		for _, p := range l.log {
			if p.Minute >= span.StartMinute && p.Minute <= span.EndMinute {
				part = append(part, p)
			}
		}
		l.checkWay(at, field == "full_power", part)
		begin := max(span.StartMinute, l.log[0].Minute)
		for j := range part {
			part[j].Minute -= begin
		}
		list = append(list, part)
	}
	return list
}

func (l *logFitter) checkWay(at string, up bool, part []Point) {
	if len(part) < leastReadings {
		l.faults.Add(at, fmt.Sprintf("%d readings lie in it", len(part)),
			fmt.Sprintf("give a stretch of the log with at least %d readings", leastReadings))
		return
	}
	first, last := part[0].Celsius, part[len(part)-1].Celsius
	coldest := slices.MinFunc(part, func(a, b Point) int { return cmp.Compare(a.Celsius, b.Celsius) }).Celsius
	switch {
	case up && last <= first:
		l.faults.Add(at, fmt.Sprintf("the temperature goes from %g C to %g C", first, last), "give a stretch of heating")
	case !up && last >= first:
		l.faults.Add(at, fmt.Sprintf("the temperature goes from %g C to %g C", first, last), "give a stretch of cooling")
	case !up && coldest < l.ambient+minAboveAmbientCelsius:
		l.faults.Add(at, fmt.Sprintf("a reading of %g C is not above ambient %g C by %g C", coldest, l.ambient,
			minAboveAmbientCelsius), "end the stretch sooner, or state the ambient temperature")
	}
}

// checkApart refuses stretches that share time: one reading would count twice, or as two things.
func (l *logFitter) checkApart(spans LogSpans) {
	for i, a := range spans.FullPower {
		for j, b := range spans.FullPower[:i] {
			l.apart(fmt.Sprintf("full_power[%d]", i), fmt.Sprintf("full_power[%d]", j), a, b)
		}
	}
	for i, a := range spans.ClosedCooling {
		at := fmt.Sprintf("closed_cooling[%d]", i)
		for j, b := range spans.ClosedCooling[:i] {
			l.apart(at, fmt.Sprintf("closed_cooling[%d]", j), a, b)
		}
		for j, b := range spans.FullPower {
			l.apart(at, fmt.Sprintf("full_power[%d]", j), a, b)
		}
	}
}

func (l *logFitter) apart(field, other string, a, b Span) {
	if a.StartMinute < b.EndMinute && b.StartMinute < a.EndMinute {
		l.faults.Add(field, "it overlaps "+other, "give stretches that share no time")
	}
}

// describe finds the constants of the furnace with the times found instead of its own.
func (l *logFitter) describe() {
	l.assume("the intervals hold for a furnace like the model, with readings that scatter by chance; a charge other than the " +
		"usual, a draught or a worn element moves the constants by more")
	if l.furnace.Source == "" || len(l.faults) > 0 {
		return
	}
	f := l.furnace
	if len(l.fit.HeatingTimes) > 0 {
		f.HeatingTimes = l.fit.HeatingTimes
	}
	if len(l.fit.CoolingTimes) > 0 {
		f.CoolingTimes = l.fit.CoolingTimes
	}
	constants, err := Fit(f)
	if err != nil {
		l.faults.AddUnder("furnace", finding.FaultsOf(err))
		return
	}
	l.fit.Constants = &constants
}

// curveFit is the end of one fit: the parameters, what a residual scatters, and by how much errors are widened.
type curveFit struct {
	leastSquares
	rms     float64
	widened float64 // standard error of a parameter over the root of its inverse's diagonal
	reach   float64 // half the interval over the standard error
	// together is how much neighbouring residuals are alike, 0 to 1: much where the furnace is not like the model.
	together float64
}

// fitCurve fits readings in stretches; predicted fills in what a parameter vector says for all readings in a row.
func fitCurve(stretches [][]Point, begins [][]float64, predicted func([]float64, int, float64) float64) curveFit {
	var readings int
	for _, part := range stretches {
		readings += len(part)
	}
	residuals := func(parameters []float64) []float64 {
		off := make([]float64, 0, readings)
		for i, part := range stretches {
			for _, p := range part {
				off = append(off, predicted(parameters, i, p.Minute)-p.Celsius)
			}
		}
		return off
	}
	var best curveFit
	for _, begin := range begins {
		if found := fitLeastSquares(begin, residuals); found.ok && (!best.ok || found.squares < best.squares) {
			best.leastSquares = found
		}
	}
	free := readings - len(begins[0])
	if !best.ok || free < 1 {
		best.ok = false
		return best
	}
	best.rms = math.Sqrt(best.squares / float64(readings))
	best.together = min(0.99, max(0, neighbours(residuals(best.parameters))))
	best.widened = math.Sqrt(best.squares / float64(free) * (1 + best.together) / (1 - best.together))
	best.reach = distuv.StudentsT{Sigma: 1, Nu: float64(free)}.Quantile(0.975)
	return best
}

// neighbours is the correlation of each residual with the next: a sum of n that stray together so tells as much as one of
// n (1 - r)/(1 + r) that do not (the effective sample size of a first-order autoregressive series).
func neighbours(off []float64) float64 {
	product := 0.0
	for i := 1; i < len(off); i++ {
		product += off[i] * off[i-1]
	}
	if squares := sumOfSquares(off); squares > 0 {
		return product / squares
	}
	return 0
}

// estimate turns the parameter x into value(x), which rises or falls throughout; the interval is that of the parameter.
func (c curveFit) estimate(index int, value func(float64) float64) Estimate {
	x := c.parameters[index]
	err := c.widened * math.Sqrt(c.inverse.At(index, index))
	const h = 1e-6
	slope := (value(x+h) - value(x-h)) / (2 * h)
	one, other := value(x-c.reach*err), value(x+c.reach*err)
	return Estimate{Value: value(x), StandardError: math.Abs(slope) * err, Low95: min(one, other), High95: max(one, other)}
}

// determined tells whether an interval is narrower than the value counted from zero; NaN never is.
func (e Estimate) determined(zero float64) bool { return e.High95-e.Low95 <= math.Abs(e.Value-zero) }

// assumeMisfit says when a fitted course leaves the readings in long waves.
func (l *logFitter) assumeMisfit(what string, c curveFit) {
	if c.together > 0.5 && c.rms > 1 {
		l.assume("the readings of %s leave the fitted course in long waves, %.0f C off in the mean: the furnace is not quite like the "+
			"model, and the true constants may lie outside the intervals", what, c.rms)
	}
}

// require notes a constant that the log does not determine.
func (l *logFitter) require(field string, e Estimate, zero float64, cure string) {
	if !e.determined(zero) {
		l.faults.Add(field, fmt.Sprintf("the log does not determine it: it lies anywhere from %.4g to %.4g", e.Low95, e.High95), cure)
	}
}
