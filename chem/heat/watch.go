package heat

// empty is the treatment of a furnace with nothing in it.
var empty = Treatment{NothingComesOff: true}

// fireWatch is what the fire needs of a person: what the recipe asks or what the furnace and the charge ask, whichever
// is more.
func fireWatch(f Furnace, t Treatment) Watch {
	return stricter(t.FireWatch, heatWatch(f, t))
}

// heatWatch is what a furnace with its heat on asks: nobody only when it is electric, cuts itself out when too hot and
// nothing comes off; somebody in the room when it is driven by hand.
func heatWatch(f Furnace, t Treatment) Watch {
	switch {
	case f.Control == ByHand:
		return InRoom
	case f.Source == Electric && f.OverTemperatureCutOut && t.NothingComesOff:
		return WatchNone
	default:
		return InReach
	}
}

// coolWatch is what a closed furnace with its heat off asks. A switch that sticks keeps an electric furnace heating, so
// one without a cut-out is still looked after.
func coolWatch(f Furnace, t Treatment) Watch {
	if t.ComesOffCooling || f.Source == Electric && !f.OverTemperatureCutOut {
		return InReach
	}
	return WatchNone
}

// stricter is the watch that asks more of a person; empty asks nothing.
func stricter(a, b Watch) Watch {
	if a.rank() > b.rank() {
		return a
	}
	return b
}

func (w Watch) rank() int {
	switch w {
	case InRoom:
		return 2
	case InReach:
		return 1
	default:
		return 0
	}
}
