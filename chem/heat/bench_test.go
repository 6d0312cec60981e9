package heat

import "testing"

func BenchmarkFit(b *testing.B) {
	f := muffle()
	for b.Loop() {
		if _, err := Fit(f); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPhases(b *testing.B) {
	f, request := muffle(), calcine()
	c, err := Fit(f)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := Phases(f, c, request); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRunCharged is a program of three segments with a charge of twenty points.
func BenchmarkRunCharged(b *testing.B) {
	f := lined()
	c, err := Fit(f)
	if err != nil {
		b.Fatal(err)
	}
	p := Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 100, HoldMinutes: 30}, {ToCelsius: 1000},
		{ToCelsius: 700, RateCelsiusPerHour: 120, HoldMinutes: 60}}}
	given := Conditions{StartCelsius: 20, OpenBelowCelsius: 100, ChargeHeat: []HeatUptake{{20, 0}}}
	for i := range 20 {
		given.ChargeHeat = append(given.ChargeHeat, HeatUptake{float64(70 + 50*i), float64(250 * (i + 1))})
	}
	for b.Loop() {
		if _, err := RunCharged(f, c, p, given); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkFitLining is Fit with cooling times that tell the lining.
func BenchmarkFitLining(b *testing.B) {
	f := lined()
	for b.Loop() {
		if _, err := Fit(f); err != nil {
			b.Fatal(err)
		}
	}
}
