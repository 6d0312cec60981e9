// Package data holds every published figure that chem uses, as CSV files embedded in the program, each row with its
// source. It answers what a table says and no more: it draws no conclusion and converts no unit. A cell that the
// source leaves empty reads as zero, which always means "not stated" here; no value is ever NaN.
//
// The Read column says how far a value can be trusted: "read" in the named source or a public copy of it, "second-hand"
// for one read where another text gives it, "memory" for a value recalled and not seen in its source, "computed" from the
// values named, "common practice" for a value of the trade that no source backs. Only a value that was read may refuse
// anything by itself.
//
// The tables are read once, on first use. A table that cannot be read is a bug in the program, found by the tests, and
// panics; no input of a user reaches this package.
package data
