package data

import (
	"slices"
	"strings"
	"sync"
)

// ChargeRule is one thing that a charge must not hold, or two that must not meet in it. Severity is as a finding's.
type ChargeRule struct {
	Code string
	// One and Other are traits of what is in the charge, in the words of chem/hazard; Other is empty for a rule about One.
	One, Other string
	// When is empty for every stage, or FiredOxidising.
	When        string
	Severity    string
	Consequence string // completes "A with B", or "A" for a rule about one
	Cure        string
	Read        Read
	Source      string
}

// FiredOxidising limits a charge rule to heat treatments in air.
const FiredOxidising = "fired_oxidising"

// ToxicElement is an element that a studio's furnace must not, or not without thought, be given.
type ToxicElement struct {
	Element string
	// Only names the trait that the compound must have for the row to hold; empty: every compound of the element.
	Only     string
	Code     string
	Severity string
	What     string // completes "holds"
	// LimitMilligramsPerCubicMeter is OSHA's limit as the element, over AveragingMinutes (0: ceiling); 0: none stated here.
	LimitMilligramsPerCubicMeter float64
	AveragingMinutes             int
	Read                         Read
	Source                       string
}

// Metal says what a metal does as a powder in a charge.
type Metal struct {
	Element string
	// Kind is one of MetalKinds.
	Kind   string
	Why    string
	Read   Read
	Source string
}

// Kinds of metals, the most dangerous first.
const (
	AlkaliMetal    = "alkali"    // alkali or earth alkali: gives hydrogen with water, and is a strong reducer
	StrongReducer  = "strong"    // energetic, and takes oxygen even from silica
	EnergeticMetal = "energetic" // takes oxygen from the common oxides with much heat
	DeclaredMetal  = "declared"  // counts as energetic only where somebody declared it a metal powder
	BaseMetal      = "base"      // burns with oxidisers only
	NobleMetal     = "noble"     // burns with nothing
)

// MetalKinds lists the kinds of metals, the most dangerous first.
func MetalKinds() []string {
	return []string{AlkaliMetal, StrongReducer, EnergeticMetal, DeclaredMetal, BaseMetal, NobleMetal}
}

// ReducibleOxide is an element whose oxide gives its oxygen up to an energetic metal.
type ReducibleOxide struct {
	Element string
	// Hard oxides give it up only to a strong reducer.
	Hard   bool
	Read   Read
	Source string
}

// States are the lowest and highest usual oxidation state of an element in compounds with oxygen.
type States struct {
	Element   string
	Low, High float64
	Read      Read
	Source    string
}

// OrganicAcid is a compound that acts as an acid though its composition alone does not show it.
type OrganicAcid struct {
	Formula, Name string
	Read          Read
	Source        string
}

// ContentWord says by what word of a furnace's exclusions an element goes.
type ContentWord struct {
	Element, Word string
	// When is "always", or "reduced": as metal, with fuel in the charge, or fired otherwise than oxidising.
	When   string
	Read   Read
	Source string
}

// FurnaceElementRule says what a kind of heating element suffers from.
type FurnaceElementRule struct {
	// Family names the kind; Words are what a furnace's element type may say of it, in lower case.
	Family string
	Words  []string
	// Content is a word of a furnace's exclusions, or "reducing".
	Content  string
	Severity string
	Why      string
	Cure     string
	Read     Read
	Source   string
}

var (
	chargeRules         = sync.OnceValue(func() []ChargeRule { return mustRead("charge-rules.csv", toChargeRule) })
	toxicElements       = sync.OnceValue(func() []ToxicElement { return mustRead("toxic-elements.csv", toToxicElement) })
	metals              = sync.OnceValue(func() []Metal { return mustRead("metals.csv", toMetal) })
	reducibleOxides     = sync.OnceValue(func() []ReducibleOxide { return mustRead("reducible-oxides.csv", toReducibleOxide) })
	oxidationStates     = sync.OnceValue(func() []States { return mustRead("oxidation-states.csv", toStates) })
	organicAcids        = sync.OnceValue(func() []OrganicAcid { return mustRead("organic-acids.csv", toOrganicAcid) })
	contentWords        = sync.OnceValue(func() []ContentWord { return mustRead("content-words.csv", toContentWord) })
	furnaceElementRules = sync.OnceValue(func() []FurnaceElementRule {
		return mustRead("furnace-elements.csv", toFurnaceElementRule)
	})
)

// ChargeRules returns what charges must not hold, in the table's order.
func ChargeRules() []ChargeRule { return slices.Clone(chargeRules()) }

// ToxicElements returns the toxic elements, in the table's order.
func ToxicElements() []ToxicElement { return slices.Clone(toxicElements()) }

// Metals returns the metals, in the table's order.
func Metals() []Metal { return slices.Clone(metals()) }

// ReducibleOxides returns the elements with reducible oxides, in the table's order.
func ReducibleOxides() []ReducibleOxide { return slices.Clone(reducibleOxides()) }

// OxidationStates returns the elements' usual states by atomic number.
func OxidationStates() []States { return slices.Clone(oxidationStates()) }

// OrganicAcids returns the organic acids, in the table's order.
func OrganicAcids() []OrganicAcid { return slices.Clone(organicAcids()) }

// ContentWords returns the words of a furnace's exclusions by element, in the table's order.
func ContentWords() []ContentWord { return slices.Clone(contentWords()) }

// FurnaceElementRules returns what heating elements suffer from, in the table's order. The words' slices are shared: do
// not write to them.
func FurnaceElementRules() []FurnaceElementRule { return slices.Clone(furnaceElementRules()) }

func toChargeRule(r *row) ChargeRule {
	return ChargeRule{
		Code: r.text("code"), One: r.text("one"), Other: r.text("other"), When: r.text("when"), Severity: r.text("severity"),
		Consequence: r.text("consequence"), Cure: r.text("cure"), Read: Read(r.text("read")), Source: r.text("source"),
	}
}

func toToxicElement(r *row) ToxicElement {
	return ToxicElement{
		Element: r.text("element"), Only: r.text("only"), Code: r.text("code"), Severity: r.text("severity"),
		What: r.text("what"), LimitMilligramsPerCubicMeter: r.number("limit_mg_m3"), AveragingMinutes: r.whole("averaging_min"),
		Read: Read(r.text("read")), Source: r.text("source"),
	}
}

func toMetal(r *row) Metal {
	return Metal{
		Element: r.text("element"), Kind: r.text("kind"), Why: r.text("why"), Read: Read(r.text("read")), Source: r.text("source"),
	}
}

func toReducibleOxide(r *row) ReducibleOxide {
	return ReducibleOxide{
		Element: r.text("element"), Hard: r.text("kind") == "hard", Read: Read(r.text("read")), Source: r.text("source"),
	}
}

func toStates(r *row) States {
	return States{
		Element: r.text("element"), Low: r.number("low"), High: r.number("high"), Read: Read(r.text("read")),
		Source: r.text("source"),
	}
}

func toOrganicAcid(r *row) OrganicAcid {
	return OrganicAcid{
		Formula: r.text("formula"), Name: r.text("name"), Read: Read(r.text("read")), Source: r.text("source"),
	}
}

func toContentWord(r *row) ContentWord {
	return ContentWord{
		Element: r.text("element"), Word: r.text("word"), When: r.text("when"), Read: Read(r.text("read")),
		Source: r.text("source"),
	}
}

func toFurnaceElementRule(r *row) FurnaceElementRule {
	return FurnaceElementRule{
		Family: r.text("family"), Words: strings.Split(r.text("words"), ";"), Content: r.text("content"),
		Severity: r.text("severity"), Why: r.text("why"), Cure: r.text("cure"), Read: Read(r.text("read")),
		Source: r.text("source"),
	}
}
