package file

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
)

func TestLogsInEveryFormOfTime(t *testing.T) {
	want := []heat.Point{{Minute: 0, Celsius: 20}, {Minute: 90, Celsius: 400.5}, {Minute: 1500.5, Celsius: 80}}
	for name, text := range map[string]string{
		"minutes":           "minute,celsius\n0,20\n90,400.5\n1500.5,80\n",
		"time in minutes":   "time,celsius\n0,20\n90,400.5\n1500.5,80\n",
		"hours and minutes": "time,celsius\n0:00,20\n1:30,400.5\n25:00:30,80\n",
		"local dates":       "time,celsius\n2027-03-01 08:00:00,20\n2027-03-01 09:30:00,400.5\n2027-03-02 09:00:30,80\n",
		"dates with offset": "time,celsius\n2027-03-01T08:00:00+01:00,20\n2027-03-01T09:30:00+01:00,400.5\n2027-03-02T08:00:30Z,80\n",
		"other order, comments, a mark at the start, more columns": "\ufeff# a kiln (invented)\nCelsius, Power, Time\n20,1,0:00\n\n" +
			"# charged\n400.5,1,1:30\n80,0,25:00:30\n",
	} {
		t.Run(name, func(t *testing.T) {
			log, err := DecodeLog("log.csv", []byte(text), LogOptions{})
			require.NoError(t, err)
			require.Len(t, log.Readings, len(want))
			for i, p := range log.Readings {
				assert.InDelta(t, want[i].Minute, p.Minute, 1e-9)
				assert.Equal(t, want[i].Celsius, p.Celsius)
			}
			assert.Equal(t, strings.Contains(text, "Power"), strings.Contains(strings.Join(log.Notes, "\n"), "left out: 1 further column"))
		})
	}
}

// Type K by the published tables: 4.096 mV is 100 C and 41.276 mV is 1000 C with the reference junction at 0 C.
func TestALogInMillivolts(t *testing.T) {
	text := []byte("time,millivolts\n0,4.096\n10,41.276\n")
	log, err := DecodeLog("log.csv", text, LogOptions{Thermocouple: "K"})
	require.NoError(t, err)
	assert.InDelta(t, 100, log.Readings[0].Celsius, 0.02)
	assert.InDelta(t, 1000, log.Readings[1].Celsius, 0.02)
	warm, err := DecodeLog("log.csv", text, LogOptions{Thermocouple: "K", ReferenceCelsius: 25})
	require.NoError(t, err)
	assert.InDelta(t, 124, warm.Readings[0].Celsius, 1, "25 C more, the slope being nearly the same")
	_, err = DecodeLog("log.csv", text, LogOptions{Thermocouple: "K", ReferenceCelsius: math.NaN()})
	assert.ErrorContains(t, err, "celsius")
}

func TestWhatALogCannotTellIsNotedAndLeftOut(t *testing.T) {
	log, err := DecodeLog("log.csv", []byte("minute,celsius\n0,100\n1,101\n2,open\n3,\n4,9999\n5,105\n6,400\n7,107\n8,NaN\n9,109\n"+
		"10,110\n11,111\n12,112\n60,130\n61,131\n62,300\n"), LogOptions{})
	require.NoError(t, err)
	assert.Equal(t, []string{
		"left out: 3 readings, the sensor failed (the first on line 4)",
		"left out: 1 reading, the temperature is not between -40 and 2000 C (the first on line 6)",
		"left out: 1 single reading farther off both neighbours than a furnace goes (the first at minute 6)",
		"the log has 1 pause, the longest from minute 12 to 60",
	}, log.Notes)
	assert.Len(t, log.Readings, 11)
	assert.Equal(t, heat.Point{Minute: 62, Celsius: 300}, log.Readings[10], "the last has one neighbour only")
	log, err = DecodeLog("log.csv", []byte("minute,millivolts\n0,0\n1,0.291\n2,1\n3,1.1\n"), LogOptions{Thermocouple: "B"})
	require.NoError(t, err)
	assert.Len(t, log.Readings, 3)
	assert.Contains(t, log.Notes[0], "outside the range of type B")
}

// A step that stays is no spike: the furnace was opened.
func TestAStepIsNoSpike(t *testing.T) {
	log, err := DecodeLog("log.csv", []byte("minute,celsius\n0,900\n1,899\n2,700\n3,690\n4,680\n"), LogOptions{})
	require.NoError(t, err)
	assert.Len(t, log.Readings, 5)
	assert.Empty(t, log.Notes)
	log, err = DecodeLog("log.csv", []byte("minute,celsius\n0,100\n6,160\n12,100\n"), LogOptions{})
	require.NoError(t, err)
	assert.Len(t, log.Readings, 3, "in six minutes a furnace may gain 60 C")
	for celsius, kept := range map[string]int{"170": 3, "170.1": 2} { // 50 C, and 20 C a minute
		log, err = DecodeLog("log.csv", []byte("minute,celsius\n0,0\n6,"+celsius+"\n12,0\n"), LogOptions{})
		require.NoError(t, err)
		assert.Len(t, log.Readings, kept, celsius)
	}
}

func TestFaultsOfALogNameLineAndColumn(t *testing.T) {
	for name, test := range map[string]struct {
		text, want string
		options    LogOptions
	}{
		"empty":               {"", "log.csv:1: is empty; begin with a line such as", LogOptions{}},
		"no header":           {"0,20\n", "log.csv:1: has no column minute or time", LogOptions{}},
		"two columns of time": {"minute,time,celsius\n", "has both a column minute and a column time", LogOptions{}},
		"a column twice":      {"minute,celsius,celsius\n", "log.csv:1: has two columns celsius", LogOptions{}},
		"no type":             {"time,millivolts\n0,1\n", "log.csv:1: millivolts: the type of the thermocouple is not known", LogOptions{}},
		"unknown type":        {"time,millivolts\n0,1\n", `"J" is not known`, LogOptions{Thermocouple: "J"}},
		"type without use":    {"time,celsius\n0,1\n", "in degrees Celsius already", LogOptions{Thermocouple: "K"}},
		"no number":           {"minute,celsius\n0,20\n1,12 C\n", "log.csv:3: celsius: \"12 C\" is no number", LogOptions{}},
		"decimal comma":       {"minute,celsius\n0,20,5\n", "log.csv:2: wrong number of fields; give as many columns", LogOptions{}},
		"backwards":           {"minute,celsius\n5,20\n4,21\n", "log.csv:3: minute: \"4\" does not come after", LogOptions{}},
		"twice":               {"minute,celsius\n5,20\n5,21\n", "log.csv:3: minute: \"5\" does not come after", LogOptions{}},
		"past midnight":       {"time,celsius\n23:59,20\n0:01,21\n", "past midnight give dates", LogOptions{}},
		"two kinds of time":   {"time,celsius\n0:10,20\n11,21\n", "log.csv:3: time: \"11\" is no time like those before it", LogOptions{}},
		"a word for minutes":  {"minute,celsius\n0:10,20\n", "log.csv:2: minute: \"0:10\" is no number of minutes", LogOptions{}},
		"no time":             {"time,celsius\nnoon,20\n", "log.csv:2: time: \"noon\" is no time", LogOptions{}},
		"for ever":            {"time,celsius\n0,20\n1e9,21\n", "log.csv:3: time: \"1e9\" is out of range", LogOptions{}},
		"quotes":              {"minute,celsius\n0,\"20\n", "log.csv:", LogOptions{}},
		"mostly failed":       {"minute,celsius\n0,20\n1,open\n2,open\n", "only 1 of 3 lines hold a reading", LogOptions{}},
	} {
		t.Run(name, func(t *testing.T) {
			log, err := DecodeLog("log.csv", []byte(test.text), test.options)
			require.Error(t, err)
			assert.Contains(t, err.Error(), test.want)
			var faults Errors
			require.True(t, errors.As(err, &faults))
			assert.Empty(t, log.Readings)
			for _, fault := range faults {
				assert.NotEmpty(t, fault.Cure)
			}
		})
	}
	_, err := DecodeLog("log.csv", make([]byte, maxBytes+1), LogOptions{})
	assert.ErrorContains(t, err, "larger than")
	_, err = DecodeLog("log.csv", []byte("minute,celsius\n"+strings.Repeat("0,x\n", 1000)), LogOptions{})
	var faults Errors
	require.True(t, errors.As(err, &faults))
	assert.LessOrEqual(t, len(faults), maxFaults+2)
}

// Whatever the bytes, a log comes back in order and finite, or with faults that are told.
func FuzzDecodeLog(f *testing.F) {
	f.Add([]byte("minute,celsius\n0,20\n1,21\n2,900\n3,22\n"), "", 0.0)
	f.Add([]byte("time,millivolts\n2027-03-01T08:00:00Z,4.1\n2027-03-01T08:01:00Z,4.2\n"), "K", 20.0)
	f.Add([]byte("# x\nTime;Celsius\n0:00:30.5,NaN\n"), "S", -1.0)
	f.Fuzz(func(t *testing.T, data []byte, letter string, reference float64) {
		log, err := DecodeLog("log.csv", data, LogOptions{Thermocouple: heat.Thermocouple(letter), ReferenceCelsius: reference})
		if err != nil {
			var faults Errors
			require.True(t, errors.As(err, &faults))
			require.NotEmpty(t, faults)
			return
		}
		require.GreaterOrEqual(t, len(log.Readings), 2)
		for i, p := range log.Readings {
			require.False(t, math.IsNaN(p.Celsius) || math.IsInf(p.Celsius, 0) || math.IsNaN(p.Minute) || math.IsInf(p.Minute, 0))
			require.True(t, i == 0 || p.Minute > log.Readings[i-1].Minute)
		}
	})
}
