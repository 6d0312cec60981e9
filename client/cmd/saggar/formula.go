package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"saggar/chem"
	"saggar/client/file"
	"saggar/client/render"
)

// maxLineBytes bounds one line of JSON lines; longer is no formula.
const maxLineBytes = 64 << 10

// formulaMass is a formula with its molar mass and what it consists of.
type formulaMass struct {
	Formula               string              `json:"formula"`
	MolarMassGramsPerMole float64             `json:"molar_mass_grams_per_mole"`
	Elements              []chem.ElementCount `json:"elements"`
}

func (s *shell) formulaCommand() *cobra.Command {
	var input string
	mass := &cobra.Command{
		Use:     "mass FORMULA...",
		Example: "  saggar formula mass 'CaSO4.2H2O'",
		Short:   "Molar mass and elements of formulas such as 'CaSO4.2H2O'",
		Long: "Molar mass and elements of formulas such as 'CaSO4.2H2O', from the abridged standard atomic weights.\n\n" +
			"With --input - formulas come as JSON lines, {\"formula\": \"NaCl\"} or \"NaCl\", and with --output json\n" +
			"each answer is one line. When one line is at fault nothing is answered and every fault is named.",
		RunE: func(_ *cobra.Command, args []string) error {
			if input == "" {
				return s.formulaMasses(args)
			}
			return s.formulaLines(input, args)
		},
	}
	mass.Flags().StringVar(&input, "input", "", "- reads formulas as JSON lines from standard input")
	return group("formula", "Formulas: molar mass and elements", mass)
}

// formulaMasses answers for formulas given as arguments: one as an object, several as a list.
func (s *shell) formulaMasses(formulas []string) error {
	if len(formulas) == 0 {
		return badInput(errors.New("no formula: give at least one, such as 'CaSO4.2H2O', or --input -"))
	}
	var list []formulaMass
	var faults []error
	for _, text := range formulas {
		mass, err := massOf(text)
		if err != nil {
			faults = append(faults, err)
		}
		list = append(list, mass)
	}
	if err := errors.Join(faults...); err != nil {
		return badInput(err)
	}
	grids := func() []render.Grid { return []render.Grid{formulaGrid(list)} }
	if len(list) == 1 {
		return s.print(list[0], grids)
	}
	return s.print(list, grids)
}

// formulaLines answers for formulas that come as JSON lines.
func (s *shell) formulaLines(input string, args []string) error {
	if len(args) > 0 || input != "-" {
		return badInput(fmt.Errorf("--input %q with %d formulas: give formulas, or --input - alone", input, len(args)))
	}
	list, err := readFormulas(s.in)
	if err != nil {
		return badInput(err)
	}
	if s.format != render.JSON {
		return s.print(list, func() []render.Grid { return []render.Grid{formulaGrid(list)} })
	}
	lines := json.NewEncoder(s.out)
	lines.SetEscapeHTML(false)
	for _, mass := range list {
		if err := lines.Encode(mass); err != nil {
			return err
		}
	}
	return nil
}

// readFormulas reads JSON lines to their end; the error holds the faults of all lines.
func readFormulas(in io.Reader) ([]formulaMass, error) {
	list := []formulaMass{}
	var faults file.Errors
	scanner := bufio.NewScanner(in)
	scanner.Buffer(nil, maxLineBytes)
	line := 0
	for scanner.Scan() {
		line++
		mass, err := readFormula(scanner.Bytes())
		if err != nil {
			faults = append(faults, &file.Error{
				File: standardInput, Line: line, Field: "formula", Problem: err.Error(), Cure: `give {"formula": "NaCl"} or "NaCl"`,
			})
		}
		list = append(list, mass)
	}
	if err := scanner.Err(); err != nil {
		return nil, fmt.Errorf("%s, line %d: %w", standardInput, line+1, err)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return list, nil
}

func readFormula(line []byte) (formulaMass, error) {
	line = bytes.TrimSpace(line)
	if len(line) == 0 {
		return formulaMass{}, errors.New("the line is empty")
	}
	text, err := formulaText(line)
	if err != nil {
		return formulaMass{}, err
	}
	return massOf(text)
}

// formulaText takes the formula out of a bare JSON string or of an object that holds nothing else.
func formulaText(line []byte) (string, error) {
	if line[0] == '"' {
		var text string
		if err := json.Unmarshal(line, &text); err != nil {
			return "", fmt.Errorf("is no JSON: %w", err)
		}
		return text, nil
	}
	var object struct {
		Formula *string `json:"formula"`
	}
	decoder := json.NewDecoder(bytes.NewReader(line))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&object); err != nil {
		return "", fmt.Errorf("is no formula in JSON: %w", err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return "", errors.New("more follows on the same line")
	}
	if object.Formula == nil {
		return "", errors.New(`the object has no "formula"`)
	}
	return *object.Formula, nil
}

func massOf(text string) (formulaMass, error) {
	formula, err := chem.ParseFormula(text)
	if err != nil {
		return formulaMass{}, err
	}
	// No atomic weight has more than nine decimals; what a sum has beyond them is rounding.
	mass := math.Round(formula.MolarMass()*1e9) / 1e9
	return formulaMass{Formula: formula.String(), MolarMassGramsPerMole: mass, Elements: formula.Elements()}, nil
}

func formulaGrid(list []formulaMass) render.Grid {
	grid := render.Grid{Columns: []string{"formula", "g/mol", "element", "count", "mass fraction"}}
	for _, mass := range list {
		for _, e := range mass.Elements {
			grid.Rows = append(grid.Rows, []string{
				mass.Formula, eightDigits(mass.MolarMassGramsPerMole), e.Symbol, eightDigits(e.Count), eightDigits(e.MassFraction),
			})
		}
	}
	return grid
}

// eightDigits keeps all that the atomic weights give, which is more than a table of estimates shows.
func eightDigits(value float64) string { return strconv.FormatFloat(value, 'g', 8, 64) }
