package render

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	significant = 4    // digits of a number
	tooSmall    = 1e-6 // below it a number gets an exponent
	tooLarge    = 1e15 // from it on a number gets an exponent
)

// Number writes a number to four significant digits, without zeros at its end: 0.03, 12.35, 1280. All digits before the
// point are kept (12345.6 is 12346), since masses and minutes are whole there. Only below 1e-6 and from 1e15 on is there
// an exponent. NaN and infinity give "n/a".
func Number(x float64) string {
	size := math.Abs(x)
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return "n/a"
	case x == 0:
		return "0"
	case size < tooSmall || size >= tooLarge:
		return strconv.FormatFloat(x, 'g', significant, 64)
	}
	decimals := max(0, significant-1-int(math.Floor(math.Log10(size))))
	text := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// Minutes writes a length of time given in minutes: "45 min", "7 h", "7 h 20 min".
func Minutes(n int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	hours, minutes := n/60, n%60
	switch {
	case hours == 0:
		return fmt.Sprintf("%s%d min", sign, minutes)
	case minutes == 0:
		return fmt.Sprintf("%s%d h", sign, hours)
	}
	return fmt.Sprintf("%s%d h %d min", sign, hours, minutes)
}
