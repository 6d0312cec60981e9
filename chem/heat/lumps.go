package heat

import (
	"math"

	"saggar/chem/finding"
)

// TwoLumps is a furnace as two lumps of heat in a row, the chamber (charge, furniture and the hot face, where the
// thermocouple is) and the lining behind it, through which alone the chamber loses heat:
//
//	C1 dT1/dt = P - (T1 - T2)/R12
//	C2 dT2/dt = (T1 - T2)/R12 - (T2 - Ta)/R2
//
// Constant power has a closed form: both temperatures near their limits T2 = Ta + P R2 and T1 = T2 + P R12 as sums of two
// exponentials, whose rates are the eigenvalues of the system. With R12 = 0 or C2 = 0 it would be one lump.
type TwoLumps struct {
	ChamberKilojoulesPerKelvin float64 `json:"chamber_kilojoules_per_kelvin"`
	LiningKilojoulesPerKelvin  float64 `json:"lining_kilojoules_per_kelvin"`
	// ToLiningKelvinPerKilowatt is R12 and ToRoomKelvinPerKilowatt R2.
	ToLiningKelvinPerKilowatt float64 `json:"to_lining_kelvin_per_kilowatt"`
	ToRoomKelvinPerKilowatt   float64 `json:"to_room_kelvin_per_kilowatt"`
	AmbientCelsius            float64 `json:"ambient_celsius"`
}

// After gives both temperatures after some minutes at constant power. The error is finding.Faults naming the field: heat
// capacities and resistances are above 0, minutes are not negative.
func (l TwoLumps) After(chamberCelsius, liningCelsius, kilowatts, minutes float64) (chamber, lining float64, err error) {
	var faults finding.Faults
	for _, part := range []struct {
		field string
		value float64
	}{
		{"chamber_kilojoules_per_kelvin", l.ChamberKilojoulesPerKelvin},
		{"lining_kilojoules_per_kelvin", l.LiningKilojoulesPerKelvin},
		{"to_lining_kelvin_per_kilowatt", l.ToLiningKelvinPerKilowatt},
		{"to_room_kelvin_per_kilowatt", l.ToRoomKelvinPerKilowatt},
	} {
		inRange(&faults, part.field, part.value, 1e-9, 1e9)
	}
	inRange(&faults, "ambient_celsius", l.AmbientCelsius, minCelsius, maxCelsius)
	inRange(&faults, "chamber_celsius", chamberCelsius, minCelsius, maxCelsius)
	inRange(&faults, "lining_celsius", liningCelsius, minCelsius, maxCelsius)
	inRange(&faults, "kilowatts", kilowatts, 0, maxKilowatts)
	inRange(&faults, "minutes", minutes, 0, maxProgramMinutes)
	if err := faults.Err(); err != nil {
		return 0, 0, err
	}
	liningLimit := l.AmbientCelsius + kilowatts*l.ToRoomKelvinPerKilowatt
	chamberLimit := liningLimit + kilowatts*l.ToLiningKelvinPerKilowatt
	up, behind := l.rates().after(chamberCelsius-chamberLimit, liningCelsius-liningLimit, minutes)
	return chamberLimit + up, liningLimit + behind, nil
}

// rates are those of two lumps per minute.
func (l TwoLumps) rates() lumps {
	return lumps{
		out:    60 / (l.ToLiningKelvinPerKilowatt * l.ChamberKilojoulesPerKelvin),
		into:   60 / (l.ToLiningKelvinPerKilowatt * l.LiningKilojoulesPerKelvin),
		beyond: 60 / (l.ToRoomKelvinPerKilowatt * l.LiningKilojoulesPerKelvin),
	}
}

// lumps are two lumps by their rates per minute, with u the excess over ambient (or over another limit):
//
//	du1/dt = -out (u1 - u2)      du2/dt = into (u1 - u2) - beyond u2
type lumps struct{ out, into, beyond float64 }

// lumpsOf finds the rates from what a cooling shows that begins after a long hold: the chamber's excess falls as
// (1-share) exp(-t/fast) + share exp(-t/slow). Each fast < slow and share in (0, 1) has exactly one set of rates: the sum of
// the eigenvalues is out + into + beyond, their product out beyond, and the first slope -out beyond/(into + beyond).
func lumpsOf(fast, slow, share float64) lumps {
	sum, product := 1/fast+1/slow, 1/(fast*slow)
	slope := (1-share)/fast + share/slow
	behind := product / slope // into + beyond
	out := sum - behind
	beyond := product / out
	return lumps{out: out, into: behind - beyond, beyond: beyond}
}

// eigenvalues are the rates of the two exponentials, both above 0. The slow one is taken from the product, where the
// difference would lose digits.
func (l lumps) eigenvalues() (fast, slow float64) {
	half := (l.out + l.into + l.beyond) / 2
	fast = half + math.Sqrt(max(0, half*half-l.out*l.beyond))
	return fast, l.out * l.beyond / fast
}

// heldShare is the lining's excess over that of the chamber after a long hold.
func (l lumps) heldShare() float64 { return l.into / (l.into + l.beyond) }

// after follows both without power. Each exponential keeps its own ratio u2/u1 = 1 - rate/out.
func (l lumps) after(chamber, lining, minutes float64) (float64, float64) {
	fast, slow := l.eigenvalues()
	quick, lasting := l.split(chamber, lining)
	quick *= math.Exp(-fast * minutes)
	lasting *= math.Exp(-slow * minutes)
	return quick + lasting, quick*(1-fast/l.out) + lasting*(1-slow/l.out)
}

// split gives the parts of the chamber's excess that fall with the fast and with the slow rate.
func (l lumps) split(chamber, lining float64) (quick, lasting float64) {
	fast, slow := l.eigenvalues()
	lasting = (lining - chamber*(1-fast/l.out)) * l.out / (fast - slow)
	return chamber - lasting, lasting
}

// slowed are the lumps when everything takes factor times as long.
func (l lumps) slowed(factor float64) lumps {
	return lumps{out: l.out / factor, into: l.into / factor, beyond: l.beyond / factor}
}

// coolsTo is how long the chamber's excess takes from one value down to another without power, and the lining's excess then.
// The lining may not be hotter than the chamber, which it never becomes by itself; then the chamber always falls.
func (l lumps) coolsTo(from, lining, to float64) (minutes, liningThen float64) {
	fast, slow := l.eigenvalues()
	quick, lasting := l.split(from, lining)
	// The chamber falls at least as fast as its slow part and at most as fast as if all of it were slow.
	low, high := 0.0, math.Log(max(from, lasting)/to)/slow
	minutes = 0.0
	for range 200 {
		now, late := quick*math.Exp(-fast*minutes), lasting*math.Exp(-slow*minutes)
		if now+late > to {
			low = minutes
		} else {
			high = minutes
		}
		next := minutes + (now+late-to)/(fast*now+slow*late)
		if !(next > low && next < high) {
			next = low + (high-low)/2
		}
		if math.Abs(next-minutes) <= 1e-11*max(1, next) {
			break
		}
		minutes = next
	}
	_, liningThen = l.after(from, lining, minutes)
	return minutes, liningThen
}
