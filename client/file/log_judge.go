package file

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"saggar/chem/heat"
)

// judge looks at the readings as a whole.
func (r *logReader) judge() {
	for _, why := range slices.Sorted(maps.Keys(r.failed)) {
		f := r.failed[why]
		r.note("%d readings are left out: %s (the first on line %d)", f.count, why, f.line)
	}
	if kept := len(r.log.Readings); kept < leastLogReadings || float64(kept) < (1-mostFailedShare)*float64(r.rowCount) {
		r.fault(0, "", fmt.Sprintf("only %d of %d lines hold a reading that can be used", kept, r.rowCount),
			"mend the sensor, or check the columns and the thermocouple's type, and log again")
		return
	}
	r.dropSpikes()
	r.findGaps()
}

// dropSpikes leaves out single readings far off both neighbours, which are near each other.
func (r *logReader) dropSpikes() {
	readings := r.log.Readings
	kept := slices.Clone(readings[:1])
	count, first := 0, 0.0
	for i := 1; i < len(readings)-1; i++ {
		before, at, after := kept[len(kept)-1], readings[i], readings[i+1]
		between := before.Celsius + (after.Celsius-before.Celsius)*(at.Minute-before.Minute)/(after.Minute-before.Minute)
		off := math.Abs(at.Celsius - between)
		if off > spikeCelsius && after.Minute-before.Minute <= spikeMinutes && math.Abs(after.Celsius-before.Celsius) < off/2 {
			if count == 0 {
				first = at.Minute
			}
			count++
			continue
		}
		kept = append(kept, at)
	}
	r.log.Readings = append(kept, readings[len(readings)-1])
	if count > 0 {
		r.note("%d single readings more than %g C off their neighbours are left out (the first at minute %.4g)", count, spikeCelsius,
			first)
	}
}

// findGaps notes pauses much longer than the usual time between two readings.
func (r *logReader) findGaps() {
	var steps []float64
	for i, p := range r.log.Readings[1:] {
		steps = append(steps, p.Minute-r.log.Readings[i].Minute)
	}
	usual := slices.Clone(steps)
	slices.Sort(usual)
	most := max(gapMinutes, gapIntervals*usual[len(usual)/2])
	var longest heat.Span
	count := 0
	for i, step := range steps {
		if step <= most {
			continue
		}
		count++
		if step > longest.EndMinute-longest.StartMinute {
			longest = heat.Span{StartMinute: r.log.Readings[i].Minute, EndMinute: r.log.Readings[i+1].Minute}
		}
	}
	if count > 0 {
		r.note("the log pauses %d times, longest from minute %.4g to %.4g", count, longest.StartMinute, longest.EndMinute)
	}
}
