package data

import (
	"slices"
	"sync"
)

// CoefficientSet is one range of a substance's nine-coefficient form, with the gas constant R:
//
//	Cp/R = A[0]/T^2 + A[1]/T + A[2] + A[3] T + A[4] T^2 + A[5] T^3 + A[6] T^4
//	H/RT = -A[0]/T^2 + A[1] ln T/T + A[2] + A[3] T/2 + A[4] T^2/3 + A[5] T^3/4 + A[6] T^4/5 + B1/T
//	S/R  = -A[0]/(2 T^2) - A[1]/T + A[2] ln T + A[3] T + A[4] T^2/2 + A[5] T^3/3 + A[6] T^4/4 + B2
//
// with H counted from the elements at 298.15 K and S at a standard pressure of 1 bar.
type CoefficientSet struct {
	// Species is the substance as the source writes it.
	Species string
	Formula string
	// Phase is gas, liquid or solid.
	Phase string
	// Polymorph tells solids of one formula apart; empty where the source has but one.
	Polymorph string
	// FormationKilojoulesPerMole is the enthalpy of formation at 298.15 K.
	FormationKilojoulesPerMole float64
	LowKelvin, HighKelvin      float64
	A                          [7]float64
	B1, B2                     float64
	Read                       Read
	Source                     string
}

// MineralHeatCapacity is the heat capacity of a mineral as Cp = A + B T + C/T^2 in J/mol/K, T in kelvin.
type MineralHeatCapacity struct {
	Mineral               string
	Formula               string
	A, B, C               float64
	LowKelvin, HighKelvin float64
	Read                  Read
	Source                string
}

// ReferenceValue is what one source gives for a substance at 298.15 K and 1 bar.
type ReferenceValue struct {
	// Substance is the name, empty where the source gives the formula only.
	Substance string
	Formula   string
	// Phase is g, l or cr.
	Phase string
	// FormationKilojoulesPerMole is the enthalpy of formation; 0 for an element in its usual form.
	FormationKilojoulesPerMole float64
	// EntropyJoulesPerMoleKelvin and HeatCapacityJoulesPerMoleKelvin are 0 where not stated.
	EntropyJoulesPerMoleKelvin      float64
	HeatCapacityJoulesPerMoleKelvin float64
	Read                            Read
	Source                          string
}

// Constant is a physical constant or a standard condition.
type Constant struct {
	Name   string
	Value  float64
	Unit   string
	Read   Read
	Source string
}

var (
	coefficientSets = sync.OnceValue(func() []CoefficientSet {
		return mustRead("nasa9-coefficients.csv", toCoefficientSet)
	})
	mineralHeatCapacities = sync.OnceValue(func() []MineralHeatCapacity {
		return mustRead("mineral-cp-maier-kelley.csv", toMineralHeatCapacity)
	})
	referenceValues = sync.OnceValue(func() []ReferenceValue {
		return mustRead("thermo-298.csv", toReferenceValue)
	})
	constants = sync.OnceValue(func() []Constant { return mustRead("thermo-constants.csv", toConstant) })
)

// CoefficientSets returns every range of every substance in the table's order: the ranges of one substance follow each
// other, and polymorphs of one formula come by rising temperature.
func CoefficientSets() []CoefficientSet { return slices.Clone(coefficientSets()) }

// MineralHeatCapacities returns every mineral in the table's order.
func MineralHeatCapacities() []MineralHeatCapacity { return slices.Clone(mineralHeatCapacities()) }

// ReferenceValues returns every value at 298.15 K in the table's order; one substance may stand there from several sources.
func ReferenceValues() []ReferenceValue { return slices.Clone(referenceValues()) }

// ThermoConstant returns a constant by its name in the table. A name that is not there is a bug and panics.
func ThermoConstant(name string) float64 {
	at := slices.IndexFunc(constants(), func(c Constant) bool { return c.Name == name })
	if at < 0 {
		panic("bug: no constant " + name)
	}
	return constants()[at].Value
}

func toCoefficientSet(r *row) CoefficientSet {
	set := CoefficientSet{
		Species:                    r.text("species"),
		Formula:                    r.text("formula"),
		Phase:                      r.text("phase"),
		Polymorph:                  r.text("polymorph"),
		FormationKilojoulesPerMole: r.number("hf298_kj_mol"),
		LowKelvin:                  r.number("t_min_k"),
		HighKelvin:                 r.number("t_max_k"),
		B1:                         r.number("b1"),
		B2:                         r.number("b2"),
		Read:                       Read(r.text("read")),
		Source:                     r.text("source"),
	}
	for i, column := range []string{"a1", "a2", "a3", "a4", "a5", "a6", "a7"} {
		set.A[i] = r.number(column)
	}
	return set
}

func toMineralHeatCapacity(r *row) MineralHeatCapacity {
	return MineralHeatCapacity{
		Mineral:    r.text("mineral"),
		Formula:    r.text("formula"),
		A:          r.number("a_j_mol_k"),
		B:          r.number("b_j_mol_k2"),
		C:          r.number("c_j_k_mol"),
		LowKelvin:  r.number("t_min_k"),
		HighKelvin: r.number("t_max_k"),
		Read:       Read(r.text("read")),
		Source:     r.text("source"),
	}
}

func toReferenceValue(r *row) ReferenceValue {
	return ReferenceValue{
		Substance:                       r.text("substance"),
		Formula:                         r.text("formula"),
		Phase:                           r.text("phase"),
		FormationKilojoulesPerMole:      r.number("hf_kj_mol"),
		EntropyJoulesPerMoleKelvin:      r.number("s_j_mol_k"),
		HeatCapacityJoulesPerMoleKelvin: r.number("cp_j_mol_k"),
		Read:                            Read(r.text("read")),
		Source:                          r.text("source"),
	}
}

func toConstant(r *row) Constant {
	return Constant{
		Name: r.text("name"), Value: r.number("value"), Unit: r.text("unit"), Read: Read(r.text("read")), Source: r.text("source"),
	}
}
