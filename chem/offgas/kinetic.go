package offgas

import (
	"saggar/chem"
	"saggar/chem/air"
	"saggar/chem/reaction"
)

const (
	// mostPieces is into how many releases of even rate one gas of one reaction is cut at most, each of as much gas: what has
	// come off by any minute is then right to one part in as many.
	mostPieces = 12
	// edgeFraction of the gas before the first piece and after the last is counted to them.
	edgeFraction = 0.001
)

// way is how one reaction sets its gas free: the share of all that has left by a minute.
type way []stretch

// stretch is an even part of a way.
type stretch struct{ start, end, share float64 }

// peak is the greatest share a minute.
func (w way) peak() float64 {
	highest := 0.0
	for _, s := range w {
		highest = max(highest, s.share/(s.end-s.start))
	}
	return highest
}

// releases are a gas's mass along a way.
func (w way) releases(list []air.Release, gas chem.OffGas) []air.Release {
	for _, s := range w {
		list = join(list, air.Release{
			Species: gas.Species, StartMinute: s.start, EndMinute: s.end, GramsPerMinute: gas.MassGrams * s.share / (s.end - s.start),
		})
	}
	return list
}

// kinetics remembers the ways of reactions, since one may give several gases.
type kinetics map[string]way

// way is how a gas comes off between two minutes if that is known from a rate: in the likely case as the whole bed reacts. In
// the cautious case nothing shields the bed from the furnace's heat, and of that way and the even one over the range the
// one with the higher peak counts. Nil where no rate is tabled, or the rate moves nothing, or the gas comes at once.
func (f Firing) way(known kinetics, gas chem.OffGas, even way) way {
	if f.atOnce(gas) {
		return nil
	}
	key := string(gas.Case) + "/" + gas.Origin
	found, done := known[key]
	if !done {
		found = f.follow(gas)
		known[key] = found
	}
	if gas.Case == chem.Cautious && found.peak() < even.peak() {
		return nil
	}
	return found
}

func (f Firing) follow(gas chem.OffGas) way {
	r, ok := reaction.Named(gas.Origin)
	if !ok || !r.HasRate() {
		return nil
	}
	request := reaction.InFurnace(f.Profile, f.ChargeAtCelsius, f.ChargeMinute)
	if gas.Case != chem.Cautious {
		request.DepthMillimeters = f.DepthMillimeters
	}
	course, err := r.Course(request)
	if err != nil {
		return nil // a profile beyond what a rate can be carried to
	}
	return cut(course)
}

// cut divides a course into pieces of equal gas, none shorter than shortestMinutes.
func cut(course []reaction.Stand) way {
	all := course[len(course)-1].Mean
	if all <= 0 {
		return nil
	}
	edges := make([]float64, 0, mostPieces+1)
	for i := range mostPieces + 1 {
		edges = append(edges, min(1-edgeFraction, max(edgeFraction, float64(i)/mostPieces)))
	}
	at := make([]float64, len(edges))
	i := 1
	for n, edge := range edges {
		for course[i].Mean < edge*all {
			i++
		}
		before, after := course[i-1], course[i]
		at[n] = before.Minute + (after.Minute-before.Minute)*(edge*all-before.Mean)/(after.Mean-before.Mean)
	}
	var pieces way
	start, taken := at[0], 0
	for n := 1; n <= mostPieces; n++ {
		if at[n]-start < shortestMinutes && n < mostPieces {
			continue
		}
		pieces = append(pieces, stretch{start, max(at[n], start+shortestMinutes), float64(n-taken) / mostPieces})
		start, taken = pieces[len(pieces)-1].end, n
	}
	return pieces
}
