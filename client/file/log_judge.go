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
		r.note("left out: %s, %s (the first on line %d)", counted(f.count, "reading"), why, f.line)
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
		most := spikeCelsius + spikePerMinute*min(at.Minute-before.Minute, after.Minute-at.Minute)
		if off > most && math.Abs(after.Celsius-before.Celsius) < off/2 {
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
		r.note("left out: %s farther off both neighbours than a furnace goes (the first at minute %.4g)",
			counted(count, "single reading"), first)
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
		r.note("the log has %s, the longest from minute %.4g to %.4g", counted(count, "pause"), longest.StartMinute,
			longest.EndMinute)
	}
}

// counted is a number of things in words.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
