package air

import (
	"fmt"
	"slices"
	"strings"

	"saggar/chem/finding"
)

// Carried air is passed on as releases. Its curve is replaced by steps that lie on or above it: within each step the
// greatest value holds throughout. A step spans at most the first share of the curve's peak. Below the second share of
// it, and after the longest stay that is followed, nothing more is passed on.
const (
	carriedStepShare   = 1. / 64
	carriedLeastShare  = 1e-4
	carriedStayMinutes = 7 * 1440.0
)

// Space is one room with what gives off gas in it and the air it gives to other rooms.
type Space struct {
	Zone      Zone       `json:"zone"`
	Sources   []Source   `json:"sources"`
	Transfers []Transfer `json:"transfers"`
}

// Carry says, for each room by its zone's ID, what the air from other rooms brings: sources to add to its own. A room
// that gives air on gives on what it was brought too. What is brought is never too little, save what
// follows once a room is below a ten-thousandth of its peak, or a week after its last release.
// Rooms that give air to each other in a circle are refused, as are unknown rooms and the same ID twice.
func Carry(spaces []Space) (map[string][]Source, error) {
	order, err := giversFirst(spaces)
	if err != nil {
		return nil, err
	}
	brought := make(map[string][]Source, len(spaces))
	for _, at := range order {
		space := &spaces[at]
		if len(space.Transfers) == 0 {
			continue
		}
		curves, err := Curves(space.Zone, slices.Concat(space.Sources, brought[space.Zone.ID]))
		if err != nil {
			var faults finding.Faults
			faults.AddUnder(fmt.Sprintf("spaces[%d]", at), finding.FaultsOf(err))
			return nil, faults.Err()
		}
		for _, transfer := range space.Transfers {
			source, err := carried(space.Zone.ID, curves, transfer.CubicMetersPerSecond)
			if err != nil {
				return nil, err
			}
			brought[transfer.ToRoom] = append(brought[transfer.ToRoom], source)
		}
	}
	return brought, nil
}

// giversFirst orders the rooms so that each comes after all that give it air.
func giversFirst(spaces []Space) ([]int, error) {
	index, waits := map[string]int{}, make([]int, len(spaces))
	for i, space := range spaces {
		if _, twice := index[space.Zone.ID]; twice {
			return nil, fault(fmt.Sprintf("spaces[%d].zone.id", i), fmt.Sprintf("%q stands twice", space.Zone.ID), "give each room an id of its own")
		}
		index[space.Zone.ID] = i
	}
	for i, space := range spaces {
		for j, transfer := range space.Transfers {
			to, known := index[transfer.ToRoom]
			if !known {
				return nil, fault(fmt.Sprintf("spaces[%d].transfers[%d].to_room", i, j), fmt.Sprintf("there is no room %q", transfer.ToRoom),
					"name one that is given")
			}
			if !atLeastZero(transfer.CubicMetersPerSecond) {
				return nil, fault(fmt.Sprintf("spaces[%d].transfers[%d].cubic_meters_per_second", i, j),
					fmt.Sprintf("%v is no flow", transfer.CubicMetersPerSecond), "give a number of at least zero")
			}
			waits[to]++
		}
	}
	var order []int
	for i := range spaces {
		if waits[i] == 0 {
			order = append(order, i)
		}
	}
	for next := 0; next < len(order); next++ {
		for _, transfer := range spaces[order[next]].Transfers {
			to := index[transfer.ToRoom]
			if waits[to]--; waits[to] == 0 {
				order = append(order, to)
			}
		}
	}
	if len(order) < len(spaces) {
		return nil, circle(spaces, waits)
	}
	return order, nil
}

func circle(spaces []Space, waits []int) error {
	var names []string
	for i, space := range spaces {
		if waits[i] > 0 {
			names = append(names, space.Zone.ID)
		}
	}
	return fault("transfers", "air goes in a circle among "+strings.Join(names, ", "),
		"leave the smallest transfer out, or make them one room")
}

// carried is what a flow of a room's air brings. The background is left out: the receiving room's own counts it.
func carried(from string, curves []Curve, cubicMetersPerSecond float64) (Source, error) {
	source := Source{Name: "air from " + from}
	if cubicMetersPerSecond == 0 {
		return source, nil
	}
	for _, curve := range curves {
		gramsPerMole, err := GramsPerMole(curve.species)
		if err != nil {
			return Source{}, err
		}
		gramsPerPPM := gramsPerMole / MolarVolumeLiters / 1000 * cubicMetersPerSecond * 60
		curve.above(func(from, to, ppm float64) {
			source.Releases = append(source.Releases, Release{curve.species, from, to, ppm * gramsPerPPM})
		})
	}
	return source, nil
}

// above gives the steps that lie on or above the curve's excess.
func (c Curve) above(step func(from, to, ppm float64)) {
	peak, _ := c.Peak()
	peak -= c.background
	if peak <= 0 {
		return
	}
	end := c.lastRelease + carriedStayMinutes
	if gone, goes := c.MinuteBelow(c.background + carriedLeastShare*peak); goes {
		end = min(end, gone)
	}
	for i := range c.segments {
		s := &c.segments[i]
		to := end
		if i+1 < len(c.segments) {
			to = min(end, c.segments[i+1].start)
		}
		if s.start < to {
			s.above(to-s.start, peak, step)
		}
	}
}

// above splits a segment, which only rises or only falls, where it passes equal levels, and below the lowest of them
// where it halves; each part holds its greater end.
func (s *segment) above(length, peak float64, step func(from, to, ppm float64)) {
	last, _ := s.after(length)
	from, low, levelStep := 0.0, s.x0, carriedStepShare*peak
	for from < length {
		high := last
		switch {
		case last > low+levelStep:
			high = low + levelStep
		case last < low-levelStep:
			high = low - levelStep
		}
		if high < low/2 && low > carriedLeastShare*peak {
			high = max(last, low/2)
		}
		to := length
		if at := reach(s.x0, s.gain, s.rate, high); high != last && at < length {
			to = at
		}
		if top := max(low, high); s.start+to > s.start+from && top > 0 {
			step(s.start+from, s.start+to, top)
		}
		from, low = to, high
	}
}
