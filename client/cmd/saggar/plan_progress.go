package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// teller tells on standard error how far a search has come: on a terminal by one line that is written over, elsewhere by a
// line for each answer. The zero value says nothing.
type teller struct {
	out   io.Writer
	width int // of the terminal; 0: none
	begun bool
}

// teller is for a terminal, or for wherever the flag asks for it.
func (s *shell) teller(asked bool) *teller {
	if f, isFile := s.errOut.(*os.File); isFile && term.IsTerminal(int(f.Fd())) {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 20 {
			return &teller{out: f, width: width}
		}
	}
	if asked {
		return &teller{out: s.errOut}
	}
	return &teller{}
}

func (t *teller) tell(p *saggarv1.PlanProgress) {
	switch words := progressWords(p); {
	case t.out == nil || p == nil:
	case t.width > 0:
		fmt.Fprintf(t.out, "\r%.*s\x1b[K", t.width-1, words)
		t.begun = true
	default:
		fmt.Fprintln(t.out, words)
	}
}

// end leaves the terminal's line empty.
func (t *teller) end() {
	if t.begun {
		fmt.Fprint(t.out, "\r\x1b[K")
	}
}

// objectiveWords name what is made least.
var objectiveWords = map[string]string{
	"COMPLETION": "sum of the ends", "VISITS": "days to come", "ENERGY": "energy",
	"CHANGE": "change of starts, another furnace as 4 h", "MAKESPAN": "the last end",
}

// progressWords is how far a search has come, on one line.
func progressWords(p *saggarv1.PlanProgress) string {
	elapsed := p.GetElapsed().AsDuration().Round(100 * time.Millisecond)
	if n := p.GetWaitingCount(); n > 0 {
		return fmt.Sprintf("waiting for %s, %v", counted(int(n), "other plan"), elapsed)
	}
	parts := []string{fmt.Sprintf("planning, %v", elapsed)}
	for _, o := range p.GetObjectives() {
		parts = append(parts, fmt.Sprintf("%s %s, at least %s, gap %s", objectiveName(o), amount(o.GetValue(), o.GetUnit()),
			amount(o.GetBound(), o.GetUnit()), gapWords(o.GetGapFraction())))
	}
	if n := p.GetAirRoundCount(); n > 0 {
		parts = append(parts, "sent back by the air "+counted(int(n), "time"))
	}
	return strings.Join(parts, "; ")
}

func objectiveName(o *saggarv1.PlanObjective) string {
	if words, known := objectiveWords[o.GetCode()]; known {
		return words
	}
	return o.GetCode()
}

func amount(x float64, unit string) string {
	if unit == "min" {
		return render.Minutes(int(x + 0.5))
	}
	return render.Number(x) + " " + unit
}

func gapWords(share float64) string { return render.Number(100*share) + " %" }

func counted(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
