// Package archtest holds the rules of the house as tests: who may import whom, who may read the clock, who makes a gRPC
// status, that everything exported is documented, and how long a function or file may be. It has no code of its own.
package archtest
