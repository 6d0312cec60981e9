package heat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestAt(t *testing.T) {
	profile := []Point{{0, 20}, {10, 120}, {20, 120}}
	assert.Equal(t, 20.0, At(profile, -5))
	assert.Equal(t, 70.0, At(profile, 5))
	assert.Equal(t, 120.0, At(profile, 10))
	assert.Equal(t, 120.0, At(profile, 99))
	assert.Zero(t, At(nil, 5))
}

func TestTimeBetween(t *testing.T) {
	profile := []Point{{0, 0}, {10, 100}, {20, 100}, {30, 200}, {40, 0}, {50, 100}, {60, 100}}
	for name, test := range map[string]struct {
		low, high float64
		want      []Span
	}{
		"one ramp":             {20, 60, []Span{{2, 6}, {42, 46}}},
		"hold inside":          {50, 150, []Span{{5, 25}, {45, 60}}},
		"hold at the low end":  {100, 150, []Span{{10, 25}, {50, 60}}},
		"hold at the high end": {50, 100, []Span{{5, 10}, {45, 50}}},
		"never":                {300, 400, nil},
		"empty range":          {60, 60, nil},
	} {
		t.Run(name, func(t *testing.T) { assert.Equal(t, test.want, TimeBetween(profile, test.low, test.high)) })
	}
	assert.Nil(t, TimeBetween(nil, 0, 1))
}

func TestWholeMinutes(t *testing.T) {
	for minutes, want := range map[float64]int{0: 0, -3: 0, 0.2: 1, 60: 60, 60 + 1e-9: 60, 60.01: 61} {
		assert.Equal(t, want, WholeMinutes(minutes), minutes)
	}
	assert.Zero(t, WholeMinutes(math.NaN()))
	assert.Positive(t, WholeMinutes(math.Inf(1)))
}
