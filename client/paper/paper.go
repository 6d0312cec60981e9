// Package paper lays answers of the service out as pages to print: one file of HTML each, A4, black on white, that needs
// neither a network nor scripts, with the caution on every page. What the answer does not know is printed as not known, with
// room to write it in.
package paper

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"time"

	saggarv1 "saggar/proto/saggar/v1"
)

//go:embed *.html.tmpl
var sources embed.FS

// pages are the templates, with words for a time zone that each page puts its own in for.
var pages = template.Must(template.New("").Funcs(words(time.UTC, time.Time{})).ParseFS(sources, "*.html.tmpl"))

// Day writes a day sheet. Times are the studio's. Errors: a time zone that is none, or what w says; nothing is written then.
func Day(w io.Writer, sheet *saggarv1.DaySheet) error {
	return write(w, "day.html.tmpl", sheet.GetTimeZone(), sheet.GetStartTime().AsTime(), sheet)
}

// write fills a page. Times of the local day that begins at an instant are written without their date.
func write(w io.Writer, page, timeZone string, day time.Time, data any) error {
	zone, err := time.LoadLocation(timeZone)
	if err != nil {
		return fmt.Errorf("time zone of the answer: %w", err)
	}
	own, err := pages.Clone()
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := own.Funcs(words(zone, day)).ExecuteTemplate(&out, page, data); err != nil {
		return err
	}
	_, err = w.Write(out.Bytes())
	return err
}
