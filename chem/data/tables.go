package data

import (
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Read says how a value came into its table.
type Read string

const (
	// WasRead in the named source or in a public copy of it.
	WasRead Read = "read"
	// SecondHand was read where another text gives it: it may warn, it must not refuse.
	SecondHand Read = "second-hand"
	// FromMemory was recalled, not seen in the source: it may warn, it must not refuse.
	FromMemory Read = "memory"
	// Computed from the values or relations named.
	Computed Read = "computed"
	// CommonPractice is the trade's habit; no source backs it.
	CommonPractice Read = "common practice"
)

// AtomicWeight is the abridged standard atomic weight of one element (CIAAW).
type AtomicWeight struct {
	AtomicNumber int
	Symbol       string
	Name         string
	// GramsPerMole is 0 for an element without a standard atomic weight.
	GramsPerMole float64
	// UncertaintyGramsPerMole covers the spread in normal materials.
	UncertaintyGramsPerMole float64
	Source                  string
}

// LimitKind is how a limit is meant to be held.
type LimitKind string

const (
	TimeWeighted    LimitKind = "TWA"  // mean over the averaging time, a shift
	ShortTerm       LimitKind = "STEL" // mean over the averaging time, minutes
	Ceiling         LimitKind = "C"    // at no moment, or over the averaging time stated
	Peak            LimitKind = "Peak" // never above, for at most the averaging time above the ceiling
	ActionLevel     LimitKind = "AL"
	DangerousToLife LimitKind = "IDLH"
	NoLimit         LimitKind = "none" // the authority sets none
)

// ExposureLimit is one limit of one substance as one authority sets it. Zero means not stated.
type ExposureLimit struct {
	Substance string
	// Formula is empty for dusts that are no single compound.
	Formula string
	CAS     string
	// Authority is OSHA, NIOSH, EU, Ontario or ACGIH.
	Authority               string
	Kind                    LimitKind
	AveragingMinutes        int
	PPM                     float64
	MilligramsPerCubicMeter float64
	// Fraction names the part of a dust that counts: total, respirable, inhalable, thoracic.
	Fraction string
	Note     string
	Read     Read
	Source   string
}

// Background is what outdoor air holds of one species.
type Background struct {
	Species string
	PPM     float64
	Read    Read
	Source  string
}

// ProtectionFactor is the assigned protection factor of one class of respirator (29 CFR 1910.134 Table 1).
type ProtectionFactor struct {
	// Type is air_purifying, papr, supplied_air or scba.
	Type      string
	Mode      string
	Facepiece string
	Factor    float64
	// EvidencedFactor applies only with the maker's own evidence; it equals Factor where the table has one value.
	EvidencedFactor float64
	Source          string
}

// Class is type, mode and facepiece joined by slashes: "air_purifying/negative pressure/half_mask".
func (f ProtectionFactor) Class() string { return f.Type + "/" + f.Mode + "/" + f.Facepiece }

var (
	atomicWeights = sync.OnceValue(func() []AtomicWeight {
		return mustRead("atomic-weights.csv", toAtomicWeight)
	})
	exposureLimits = sync.OnceValue(func() []ExposureLimit {
		return mustRead("exposure-limits.csv", toExposureLimit)
	})
	incomingAir = sync.OnceValue(func() []Background {
		return mustRead("incoming-air.csv", toBackground)
	})
	protectionFactors = sync.OnceValue(func() []ProtectionFactor {
		return mustRead("respirator-apf.csv", toProtectionFactor)
	})
)

// AtomicWeights returns all elements in the order of their atomic numbers.
func AtomicWeights() []AtomicWeight { return slices.Clone(atomicWeights()) }

// ExposureLimits returns every limit in the table's order.
func ExposureLimits() []ExposureLimit { return slices.Clone(exposureLimits()) }

// IncomingAir returns what outdoor air holds of the species that have limits, in the table's order.
func IncomingAir() []Background { return slices.Clone(incomingAir()) }

// ProtectionFactors returns every class of respirator in the table's order.
func ProtectionFactors() []ProtectionFactor { return slices.Clone(protectionFactors()) }

func toAtomicWeight(r *row) AtomicWeight {
	return AtomicWeight{
		AtomicNumber:            r.whole("z"),
		Symbol:                  r.text("symbol"),
		Name:                    r.text("name"),
		GramsPerMole:            r.number("abridged_aw"),
		UncertaintyGramsPerMole: r.number("abridged_u"),
		Source:                  r.text("source"),
	}
}

func toExposureLimit(r *row) ExposureLimit {
	return ExposureLimit{
		Substance:               r.text("substance"),
		Formula:                 r.text("formula"),
		CAS:                     r.text("cas"),
		Authority:               r.text("body"),
		Kind:                    LimitKind(r.text("limit")),
		AveragingMinutes:        r.whole("averaging_min"),
		PPM:                     r.number("ppm"),
		MilligramsPerCubicMeter: r.number("mg_m3"),
		Fraction:                r.text("fraction"),
		Note:                    r.text("note"),
		Read:                    Read(r.text("read")),
		Source:                  r.text("source"),
	}
}

func toBackground(r *row) Background {
	return Background{Species: r.text("species"), PPM: r.number("ppm"), Read: Read(r.text("read")), Source: r.text("source")}
}

func toProtectionFactor(r *row) ProtectionFactor {
	// "25/1000" in the table: the second value needs the maker's evidence.
	plain, evidenced, two := strings.Cut(r.text("apf"), "/")
	if !two {
		evidenced = plain
	}
	return ProtectionFactor{
		Type:            r.text("type"),
		Mode:            r.text("mode"),
		Facepiece:       r.text("facepiece"),
		Factor:          r.positive("apf", plain),
		EvidencedFactor: r.positive("apf", evidenced),
		Source:          r.text("source"),
	}
}

// positive reads a part of a cell that must be above zero.
func (r *row) positive(column, part string) float64 {
	value, err := strconv.ParseFloat(part, 64)
	if err != nil || !(value > 0) {
		r.fail(column, part+" is not a number above zero")
		return 0
	}
	return value
}
