package main

import (
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	consoleBlock = regexp.MustCompile("(?s)```console\n(.*?)```")
	leftOut      = regexp.MustCompile(`(?m)^\.\.\.$`) // a whole line: rows of the week's chart end in dots too
)

// TestTheREADMEShowsWhatTheTourPrints runs deploy/try.sh on the built programs and finds each console block of the README in
// its output, line by line and in order; a line of three dots stands for lines left out.
func TestTheREADMEShowsWhatTheTourPrints(t *testing.T) {
	readme, err := os.ReadFile("../../../README.md")
	require.NoError(t, err)
	command := exec.Command("bash", "../../../deploy/try.sh")
	output, err := command.CombinedOutput()
	require.NoError(t, err, "%s", output)
	printed := lines(string(output))
	blocks := consoleBlock.FindAllStringSubmatch(string(readme), -1)
	require.NotEmpty(t, blocks)
	from := 0
	for _, block := range blocks {
		for _, part := range leftOut.Split(block[1], -1) {
			want := lines(part)
			if len(want) == 0 {
				continue
			}
			at := indexOf(printed[from:], want)
			if !assert.GreaterOrEqual(t, at, 0, "the tour does not print, from its line %d on:\n%s", from, part) {
				return
			}
			from += at + len(want)
		}
	}
}

// lines splits a text, without blanks at the ends of lines or empty lines around it.
func lines(text string) []string {
	text = strings.Trim(text, "\n")
	if text == "" {
		return nil
	}
	list := strings.Split(text, "\n")
	for i := range list {
		list[i] = strings.TrimRight(list[i], " ")
	}
	return list
}

// indexOf is where the part begins in the whole, or -1.
func indexOf(whole, part []string) int {
	for i := 0; i+len(part) <= len(whole); i++ {
		if slices.Equal(whole[i:i+len(part)], part) {
			return i
		}
	}
	return -1
}
