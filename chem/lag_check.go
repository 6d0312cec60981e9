package chem

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

// lagPair is a lag's two stages by their place in the recipe.
type lagPair struct{ from, to int }

// checkLags checks each lag by itself, and all of them together with the order of the stages and the least that each takes.
func (r Recipe) checkLags() finding.Faults {
	var faults finding.Faults
	index := map[string]int{}
	for i, stage := range r.Stages {
		index[stage.ID] = i
	}
	times, seen := r.stageTimes(), map[lagPair]int{}
	for i, lag := range r.Lags {
		path := fmt.Sprintf("lags[%d]", i)
		found := lag.validate(index)
		faults.AddUnder(path, found)
		if len(found) > 0 {
			continue
		}
		pair := lagPair{index[lag.FromStage], index[lag.ToStage]}
		if first, twice := seen[pair]; twice {
			faults.Add(path, fmt.Sprintf("stages %q and %q have a lag already, lags[%d]", lag.FromStage, lag.ToStage, first),
				"put least and most into one lag")
			continue
		}
		seen[pair] = i
		faults.AddUnder(path, times.hold(lag, pair))
	}
	return faults
}

func (l Lag) validate(index map[string]int) finding.Faults {
	var faults finding.Faults
	from, fromKnown := index[l.FromStage]
	to, toKnown := index[l.ToStage]
	if !fromKnown {
		faults.Add("from_stage", fmt.Sprintf("there is no stage %q", shortened(l.FromStage)), "use a stage's id")
	}
	if !toKnown {
		faults.Add("to_stage", fmt.Sprintf("there is no stage %q", shortened(l.ToStage)), "use a stage's id")
	}
	if fromKnown && toKnown && to <= from {
		faults.Add("to_stage", fmt.Sprintf("stage %q does not come after %q", l.ToStage, l.FromStage), "name a later stage")
	}
	checkWhole(&faults, "min_minutes", l.MinMinutes, maxLagMinutes)
	checkWhole(&faults, "max_minutes", l.MaxMinutes, maxLagMinutes)
	if l.MaxMinutes > 0 && l.MinMinutes > l.MaxMinutes {
		faults.Add("max_minutes", fmt.Sprintf("%d is below min_minutes %d", l.MaxMinutes, l.MinMinutes),
			"give at least min_minutes, or 0 for no most")
	}
	return faults
}

// leastApart holds, for each two of the moments at which stages start and end, the least minutes from the first to the
// second that everything said so far leaves; minus infinity where nothing is said. A most is a least backwards.
type leastApart [][]float64

// startOf and endOf number the moments of a stage.
func startOf(stage int) int { return 2 * stage }
func endOf(stage int) int   { return 2*stage + 1 }

// stageTimes says that each stage takes its shortest time and starts after the one before has ended.
func (r Recipe) stageTimes() leastApart {
	moments := 2 * len(r.Stages)
	times := make(leastApart, moments)
	for i := range times {
		times[i] = slices.Repeat([]float64{math.Inf(-1)}, moments)
		times[i][i] = 0
	}
	for i, stage := range r.Stages {
		times.add(startOf(i), endOf(i), stage.shortestMinutes())
		if i > 0 {
			times.add(endOf(i-1), startOf(i), 0)
		}
	}
	return times
}

// add notes that a moment comes at least so long after another, with all that follows from it.
func (t leastApart) add(from, to int, minutes float64) {
	for i := range t {
		for j := range t {
			t[i][j] = math.Max(t[i][j], t[i][from]+minutes+t[to][j])
		}
	}
}

// hold adds a lag, or says why it cannot be kept beside the stages and the lags before it.
func (t leastApart) hold(lag Lag, pair lagPair) finding.Faults {
	var faults finding.Faults
	left, entered := endOf(pair.from), startOf(pair.to)
	if most := -t[entered][left]; float64(lag.MinMinutes) > most {
		faults.Add("min_minutes", fmt.Sprintf("%d cannot be: the lags before it allow at most %.0f minutes from %q to %q",
			lag.MinMinutes, most, lag.FromStage, lag.ToStage), fmt.Sprintf("give at most %.0f, or loosen the other lags", most))
		return faults
	}
	t.add(left, entered, float64(lag.MinMinutes))
	if lag.MaxMinutes == 0 {
		return nil
	}
	if least := math.Ceil(t[left][entered]); float64(lag.MaxMinutes) < least {
		faults.Add("max_minutes", fmt.Sprintf("%d cannot be: the stages between %q and %q and the lags before it take at least "+
			"%.0f minutes", lag.MaxMinutes, lag.FromStage, lag.ToStage, least),
			fmt.Sprintf("give at least %.0f, or shorten what lies between", least))
		return faults
	}
	t.add(entered, left, -float64(lag.MaxMinutes))
	return nil
}

// shortestMinutes is less than any furnace takes for the stage: the bench work, or the handling that the stage states and
// the holds of its program. What is no length counts as none; that is another check's fault.
func (s Stage) shortestMinutes() float64 {
	if s.Program == nil {
		return math.Max(0, float64(s.BenchMinutes))
	}
	minutes := math.Max(0, float64(s.ChargeMinutes)) + math.Max(0, float64(s.DrawMinutes))
	for _, segment := range s.Program.Segments {
		if segment.HoldMinutes > 0 && !math.IsInf(segment.HoldMinutes, 1) {
			minutes += segment.HoldMinutes
		}
	}
	return minutes
}
