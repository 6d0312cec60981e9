package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// from is a window in minutes after noon.
func from(start, end int) Window {
	return Window{noon.Add(time.Duration(start) * time.Minute), noon.Add(time.Duration(end) * time.Minute)}
}

func TestARequestFitsWhatIsLongEnoughAndWasNotLetGo(t *testing.T) {
	asked := TimeRequest{Furnaces: []string{"pot", "kiln"}, Window: from(60, 240), LeastMinutes: 60, State: TimeWaiting}
	for name, c := range map[string]struct {
		free  FurnaceTime
		letGo []FurnaceTime
		want  Window
		fits  bool
	}{
		"all of it, cut to what is asked":  {FurnaceTime{"pot", from(0, 300)}, nil, from(60, 240), true},
		"exactly the least":                {FurnaceTime{"kiln", from(0, 120)}, nil, from(60, 120), true},
		"a minute less":                    {FurnaceTime{"kiln", from(0, 119)}, nil, Window{}, false},
		"another furnace":                  {FurnaceTime{"muffle", from(0, 300)}, nil, Window{}, false},
		"it only touches":                  {FurnaceTime{"pot", from(0, 60)}, nil, Window{}, false},
		"let go before":                    {FurnaceTime{"pot", from(60, 240)}, []FurnaceTime{{"pot", from(60, 240)}}, Window{}, false},
		"let go on another furnace":        {FurnaceTime{"pot", from(60, 240)}, []FurnaceTime{{"kiln", from(60, 240)}}, from(60, 240), true},
		"what was not let go is enough":    {FurnaceTime{"pot", from(60, 240)}, []FurnaceTime{{"pot", from(90, 180)}}, from(180, 240), true},
		"what was not let go is too short": {FurnaceTime{"pot", from(60, 240)}, []FurnaceTime{{"pot", from(90, 181)}}, Window{}, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := asked
			r.LetGo = c.letGo
			got, fits := r.Fits(c.free)
			assert.Equal(t, c.fits, fits)
			if fits {
				assert.Equal(t, FurnaceTime{c.free.Furnace, c.want}, got)
			}
		})
	}
}

func TestAnOfferStandsUntilItsMinuteAndNoLongerThanItIsOfUse(t *testing.T) {
	r := TimeRequest{Furnaces: []string{"pot"}, Window: from(0, 240), LeastMinutes: 60, State: TimeWaiting}
	offered := r.Offered(FurnaceTime{"pot", from(10, 240)}, noon, 60)
	assert.Equal(t, TimeOffered, offered.State)
	assert.NotNil(t, offered.Held(noon.Add(time.Hour-time.Second)))
	assert.Nil(t, offered.Held(noon.Add(time.Hour)), "at its minute it is over")
	lapsed := offered.AsOf(noon.Add(time.Hour))
	assert.Equal(t, TimeWaiting, lapsed.State)
	assert.Equal(t, []FurnaceTime{{"pot", from(10, 240)}}, lapsed.LetGo)
	short := r.Offered(FurnaceTime{"pot", from(10, 100)}, noon, 60)
	assert.Equal(t, noon.Add(40*time.Minute), short.Offer.ExpireTime, "then less than the least is left")
}

func TestARequestPassesWhenTooLittleIsLeft(t *testing.T) {
	r := TimeRequest{Furnaces: []string{"pot"}, Window: from(0, 240), LeastMinutes: 60, State: TimeWaiting}
	assert.Equal(t, TimeWaiting, r.AsOf(noon.Add(180*time.Minute)).State)
	assert.Equal(t, TimePassed, r.AsOf(noon.Add(180*time.Minute+time.Second)).State)
	assert.Equal(t, TimeTaken, r.Ended(TimeTaken, "blue-7").AsOf(noon.Add(999*time.Hour)).State)
}

func TestRequestsThatAreNone(t *testing.T) {
	good := TimeRequest{Furnaces: []string{"pot"}, Window: from(0, 240), LeastMinutes: 240}
	assert.Empty(t, good.Check(noon))
	for field, change := range map[string]func(r *TimeRequest){
		"least_minutes": func(r *TimeRequest) { r.LeastMinutes = 241 },
		"end_time":      func(r *TimeRequest) { r.Window.End = r.Window.Start },
		"furnaces[1]":   func(r *TimeRequest) { r.Furnaces = []string{"pot", "pot"} },
	} {
		bad := good
		change(&bad)
		faults := bad.Check(noon)
		if assert.Len(t, faults, 1, field) {
			assert.Equal(t, field, faults[0].Field)
			assert.NotEmpty(t, faults[0].Cure)
		}
	}
	assert.Len(t, good.Check(noon.Add(time.Second)), 1, "not that much is left")
}

func TestIDsOfRequestsTellTheirRevision(t *testing.T) {
	assert.Equal(t, int64(17), TimeRequestRevision(TimeRequest{AskedRevision: 17}.ID()))
	for _, id := range []string{"", "t", "17", "t017", "t-1x", "x17", "t17a"} {
		assert.Zero(t, TimeRequestRevision(id), id)
	}
}

func TestWhatIsLeftOutsideOfWindows(t *testing.T) {
	for name, c := range map[string]struct {
		others, want []Window
	}{
		"nothing taken off": {nil, []Window{from(0, 100)}},
		"in the middle":     {[]Window{from(40, 60)}, []Window{from(0, 40), from(60, 100)}},
		"both ends":         {[]Window{from(90, 200), from(-10, 10)}, []Window{from(10, 90)}},
		"all":               {[]Window{from(0, 50), from(50, 100)}, nil},
		"beside it":         {[]Window{from(-10, 0), from(100, 110)}, []Window{from(0, 100)}},
	} {
		assert.Equal(t, c.want, from(0, 100).Without(c.others), name)
	}
}
