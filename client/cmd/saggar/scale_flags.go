package main

import (
	"github.com/spf13/cobra"

	saggarv1 "saggar/proto/saggar/v1"
)

// scaleFlags say how much of a recipe to make; at most one way is given.
type scaleFlags struct {
	factor, productGrams, crucibleMilliliters numberFlag
	crucibles                                 int32
}

func newScaleFlags() scaleFlags {
	return scaleFlags{factor: *aboveZero(1e4), productGrams: *aboveZero(1e7), crucibleMilliliters: *aboveZero(1e6)}
}

func (f *scaleFlags) flags(command *cobra.Command) {
	flags := command.Flags()
	flags.Var(&f.factor, "factor", "times the recipe's own masses")
	flags.Var(&f.productGrams, "product-grams", "mass of ideal product wanted in g")
	flags.Int32Var(&f.crucibles, "crucibles", 0, "so many crucibles, with --crucible-milliliters")
	flags.Var(&f.crucibleMilliliters, "crucible-milliliters", "volume of each crucible in ml")
	command.MarkFlagsRequiredTogether("crucibles", "crucible-milliliters")
	command.MarkFlagsMutuallyExclusive("factor", "product-grams", "crucibles")
}

// message is nil when no flag was given: the recipe's own masses.
func (f *scaleFlags) message() *saggarv1.Scale {
	m := &saggarv1.Scale{
		Factor: f.factor.value, ProductGrams: f.productGrams.value, CrucibleCount: f.crucibles,
		CrucibleMilliliters: f.crucibleMilliliters.value,
	}
	if m.GetFactor() == 0 && m.GetProductGrams() == 0 && m.GetCrucibleCount() == 0 && m.GetCrucibleMilliliters() == 0 {
		return nil
	}
	return m
}
