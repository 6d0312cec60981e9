package main

import (
	"fmt"
	"regexp"
	"strings"

	saggarv1 "saggar/proto/saggar/v1"
)

// attendFlag is a flag that may be given several times, each hours of some days of the week.
type attendFlag []*saggarv1.WeeklyHours

var attendText = regexp.MustCompile(`^ *([A-Za-z]+(?: *[-,] *[A-Za-z]+)*) +([0-9]{2}:[0-9]{2}) *- *([0-9]{2}:[0-9]{2}) *$`)

const attendExample = "give days and hours, such as 'mon,wed 08:00-12:00' or 'mon-fri 13:00-17:00'"

// Set reads days and hours.
func (f *attendFlag) Set(text string) error {
	found := attendText.FindStringSubmatch(text)
	if found == nil {
		return fmt.Errorf("%s", attendExample)
	}
	hours := &saggarv1.WeeklyHours{Opens: found[2], Closes: found[3]}
	if !isClock(hours.Opens) || !isClock(hours.Closes) || hours.Opens >= hours.Closes {
		return fmt.Errorf("%s-%s are no hours of a day: %s", hours.Opens, hours.Closes, attendExample)
	}
	for _, part := range strings.Split(found[1], ",") {
		first, last, isRange := strings.Cut(part, "-")
		from, err := weekday(first)
		if err != nil {
			return err
		}
		until := from
		if isRange {
			if until, err = weekday(last); err != nil {
				return err
			}
		}
		for day := from; ; day = day%7 + 1 { // over the week's end too
			hours.Days = append(hours.Days, day)
			if day == until {
				break
			}
		}
	}
	*f = append(*f, hours)
	return nil
}

// isClock tells a time of the day, midnight at its end included.
func isClock(text string) bool {
	return text[:2] < "24" && text[3:] < "60" || text == "24:00"
}

// weekday finds a day by at least its first two letters.
func weekday(text string) (saggarv1.Weekday, error) {
	text = strings.ToUpper(strings.TrimSpace(text))
	for day := saggarv1.Weekday_WEEKDAY_MONDAY; day <= saggarv1.Weekday_WEEKDAY_SUNDAY; day++ {
		if name := strings.TrimPrefix(day.String(), "WEEKDAY_"); len(text) >= 2 && strings.HasPrefix(name, text) {
			return day, nil
		}
	}
	return 0, fmt.Errorf("%q is no day of the week: give mon, tue, wed, thu, fri, sat or sun", strings.ToLower(text))
}

// String is what was given.
func (f *attendFlag) String() string {
	var all []string
	for _, hours := range *f {
		var days []string
		for _, day := range hours.GetDays() {
			days = append(days, strings.ToLower(strings.TrimPrefix(day.String(), "WEEKDAY_")[:3]))
		}
		all = append(all, strings.Join(days, ",")+" "+hours.GetOpens()+"-"+hours.GetCloses())
	}
	return strings.Join(all, "; ")
}

// Type is what help calls the value.
func (f *attendFlag) Type() string { return "hours" }
