package main

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"saggar/chem/heat"
)

// spansFlag is a flag that may be given several times, each a stretch of minutes FROM-TO.
type spansFlag []heat.Span

var spanText = regexp.MustCompile(`^ *([0-9.]+) *- *([0-9.]+) *$`)

// Set reads one stretch.
func (f *spansFlag) Set(text string) error {
	found := spanText.FindStringSubmatch(text)
	if found == nil {
		return fmt.Errorf("give minutes FROM-TO, such as 0-180")
	}
	start, err := strconv.ParseFloat(found[1], 64)
	end, also := strconv.ParseFloat(found[2], 64)
	if err != nil || also != nil || math.IsInf(end, 0) || !(end > start) {
		return fmt.Errorf("give minutes FROM-TO, such as 0-180, the second above the first")
	}
	*f = append(*f, heat.Span{StartMinute: start, EndMinute: end})
	return nil
}

// String is what was given.
func (f *spansFlag) String() string {
	var list []string
	for _, span := range *f {
		list = append(list, spanWords(span))
	}
	return strings.Join(list, ",")
}

// Type is what help calls the value.
func (f *spansFlag) Type() string { return "FROM-TO" }

// spanWords is a stretch as it is typed.
func spanWords(span heat.Span) string { return plain(span.StartMinute) + "-" + plain(span.EndMinute) }
