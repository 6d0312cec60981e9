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
