package air

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// steppedPlainly solves one room by fourth-order Runge-Kutta with a step from each breakpoint of releases, doors and flows to
// the next, cut to a sixteenth of a minute at most, wherever the breakpoints lie. It gives the concentration at the minutes.
func steppedPlainly(zone Zone, sources []Source, gramsPerMole float64, minutes []float64) []float64 {
	breaks := slices.Clone(minutes)
	for _, source := range sources {
		for _, r := range source.Releases {
			breaks = append(breaks, r.StartMinute, r.EndMinute)
		}
		for _, open := range source.DoorOpen {
			breaks = append(breaks, open.StartMinute, open.EndMinute)
		}
	}
	for _, step := range zone.Flow {
		breaks = append(breaks, step.StartMinute)
	}
	slices.Sort(breaks)
	breaks = slices.Compact(breaks)
	excess, result := 0.0, make([]float64, len(minutes))
	for i := range breaks {
		for k, minute := range minutes {
			if minute == breaks[i] {
				result[k] = excess + zone.BackgroundPPM["SO2"]
			}
		}
		if i+1 == len(breaks) {
			break
		}
		length := breaks[i+1] - breaks[i]
		middle := breaks[i] + length/2
		gain := plainSpill(sources, "SO2", middle) * 1000 * 24.45 / gramsPerMole / zone.VolumeCubicMeters
		flow := zone.Flow[0].CubicMetersPerSecond
		for _, step := range zone.Flow[1:] {
			if step.StartMinute <= middle {
				flow = step.CubicMetersPerSecond
			}
		}
		rate := flow * 60 / zone.MixingFactor / zone.VolumeCubicMeters
		steps := math.Ceil(length * 16)
		h := length / steps
		for range int(steps) {
			k1 := gain - rate*excess
			k2 := gain - rate*(excess+h/2*k1)
			k3 := gain - rate*(excess+h/2*k2)
			k4 := gain - rate*(excess+h*k3)
			excess += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
		}
	}
	return result
}

// threeInARow solves three coupled rooms plainly: each gives a flow of its air, above the background, to the next.
func threeInARow(zones []Zone, sources []Source, flow float64, minutes int) [][3]float64 {
	const h = 1.0 / 16
	state := [3]float64{}
	result := [][3]float64{state}
	for i := range minutes * 16 {
		middle := (float64(i) + 0.5) * h
		slope := func(s [3]float64) (d [3]float64) {
			for k, zone := range zones {
				q := zone.Flow[0].CubicMetersPerSecond
				for _, step := range zone.Flow[1:] {
					if step.StartMinute <= middle {
						q = step.CubicMetersPerSecond
					}
				}
				gain := plainSpill(sources, "SO2", middle) * 1000 * 24.45 / 64.058 / zone.VolumeCubicMeters
				if k > 0 {
					gain = flow * 60 / zone.VolumeCubicMeters * s[k-1]
				}
				d[k] = gain - q*60/zone.MixingFactor/zone.VolumeCubicMeters*s[k]
			}
			return d
		}
		along := func(d [3]float64, by float64) [3]float64 {
			return [3]float64{state[0] + by*d[0], state[1] + by*d[1], state[2] + by*d[2]}
		}
		k1 := slope(state)
		k2 := slope(along(k1, h/2))
		k3 := slope(along(k2, h/2))
		k4 := slope(along(k3, h))
		for k := range state {
			state[k] += h / 6 * (k1[k] + 2*k2[k] + 2*k3[k] + k4[k])
		}
		if (i+1)%16 == 0 {
			result = append(result, state)
		}
	}
	return result
}

// Air that goes on from room to room: the steps in which it is passed on are never too little, and each room's closed form
// solves what it is passed to a millionth. How much they are too much: a 64th of the highest that the giving room ever comes
// to, which for a room without flow may be days ahead.
func TestAChainOfRoomsAgainstPlainIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zones := []Zone{drawZone(t), drawZone(t), drawZone(t)}
		for i := range zones {
			zones[i].ID = []string{"kilns", "passage", "studio"}[i]
			zones[i].BackgroundPPM = nil
		}
		sources := drawSources(t, "sources")
		const flow = 0.1
		brought, err := Carry([]Space{
			{zones[2], nil, nil}, {zones[0], sources, []Transfer{{"passage", flow}}}, {zones[1], nil, []Transfer{{"studio", flow}}},
		})
		require.NoError(t, err)
		coupled := threeInARow(zones, sources, flow, 900)
		for k := 1; k < 3; k++ {
			zone := zones[k]
			curves, err := Curves(zone, brought[zone.ID])
			require.NoError(t, err)
			at := slices.IndexFunc(curves, func(c Curve) bool { return c.species == "SO2" })
			if at < 0 {
				continue
			}
			highest := 0.0
			for _, state := range coupled {
				highest = max(highest, state[k])
			}
			var minutes []float64
			for minute := 0; minute <= 900; minute += 37 {
				minutes = append(minutes, float64(minute))
				got, exact := curves[at].At(float64(minute)), coupled[minute][k]
				assert.GreaterOrEqual(t, got, exact*(1-1e-6)-3e-3*highest-1e-9, "room %d, minute %d: never too little", k, minute)
			}
			gramsPerMole, err := GramsPerMole("SO2")
			require.NoError(t, err)
			for i, want := range steppedPlainly(zone, brought[zone.ID], gramsPerMole, minutes) {
				assert.InDelta(t, want, curves[at].At(minutes[i]), 1e-6*max(want, 1e-3*highest)+1e-12, "room %d, minute %v", k, minutes[i])
			}
		}
	})
}
