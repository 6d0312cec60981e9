package file

import (
	"bytes"
	"encoding/json"
	"unicode/utf16"
	"unicode/utf8"
)

// plainJSON rewrites the two escapes of JSON that the YAML reader does not know: \/ and characters beyond 16 bits as two
// \u. Lines stay where they are; anything but JSON comes back as it is.
func plainJSON(data []byte) []byte {
	if !bytes.ContainsRune(data, '\\') || !json.Valid(data) {
		return data
	}
	plain := make([]byte, 0, len(data))
	for i := 0; i < len(data); i++ {
		if data[i] != '\\' { // stands in strings only, and never last
			plain = append(plain, data[i])
			continue
		}
		first := surrogate(data[i:])
		switch {
		case data[i+1] == '/':
			plain = append(plain, '/')
		case first != 0:
			r := utf16.DecodeRune(first, surrogate(data[i+6:]))
			plain = utf8.AppendRune(plain, r) // U+FFFD when its other half is missing
			if i += 4; r != utf8.RuneError {
				i += 6
			}
		default:
			plain = append(plain, data[i], data[i+1])
		}
		i++
	}
	return plain
}

// surrogate reads an escaped half of a character at the beginning of the data; 0 when there is none.
func surrogate(data []byte) rune {
	const length = len(`\ud83d`)
	if len(data) < length || data[0] != '\\' || data[1] != 'u' {
		return 0
	}
	var r rune
	for _, digit := range bytes.ToLower(data[2:length]) {
		at := bytes.IndexByte([]byte("0123456789abcdef"), digit)
		r = r<<4 | rune(at)
	}
	if !utf16.IsSurrogate(r) {
		return 0
	}
	return r
}
