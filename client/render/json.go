package render

import (
	"bytes"
	"encoding/json"
	"io"
)

func writeJSON(out io.Writer, t any) error {
	var dense, indented bytes.Buffer
	if err := denseJSON(&dense, t); err != nil {
		return err
	}
	if err := json.Indent(&indented, dense.Bytes(), "", "  "); err != nil {
		return err
	}
	indented.WriteByte('\n')
	_, err := indented.WriteTo(out)
	return err
}

// denseJSON writes a tree in its own order; encoding/json would sort an object's fields.
func denseJSON(out *bytes.Buffer, t any) error {
	switch x := t.(type) {
	case object:
		return between(out, "{}", len(x), func(i int) error {
			if err := leaf(out, x[i].key); err != nil {
				return err
			}
			out.WriteByte(':')
			return denseJSON(out, x[i].value)
		})
	case []any:
		return between(out, "[]", len(x), func(i int) error { return denseJSON(out, x[i]) })
	}
	return leaf(out, t)
}

func between(out *bytes.Buffer, brackets string, n int, write func(i int) error) error {
	out.WriteByte(brackets[0])
	for i := range n {
		if i > 0 {
			out.WriteByte(',')
		}
		if err := write(i); err != nil {
			return err
		}
	}
	out.WriteByte(brackets[1])
	return nil
}

func leaf(out *bytes.Buffer, value any) error {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return err
	}
	out.Truncate(out.Len() - 1) // Encode ends the line
	return nil
}
