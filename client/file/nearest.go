package file

import "strings"

const longestName = 64 // longer keys are not compared

// suggest is the cure for an unknown name: the nearest known one, or all of them.
func suggest(name string, known []string) string {
	best, least := "", len(name)/3+2
	if len(name) <= longestName {
		for _, candidate := range known {
			if n := edits(strings.ToLower(name), candidate); n < least {
				best, least = candidate, n
			}
		}
	}
	if best != "" {
		return "did you mean " + best + "?"
	}
	return "known here: " + strings.Join(known, ", ")
}

// edits counts the letters to change, add or drop to turn one name into the other (Levenshtein's distance).
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := before
			if a[i] != b[j] {
				change++
			}
			before = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
