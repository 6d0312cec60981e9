// Package migrations holds the database schema as numbered steps. server/store runs them; sqlc reads them as they are.
//
// How a step looks:
//
//   - One file NNNN_verb_noun.sql, for example 0007_add_furnace_notes.sql, numbered from 0001 without a gap. Two braces
//     that open or close one after the other would be taken for a template, so they may not stand in it.
//   - Each file is one transaction, together with its entry in public.schema_version: all of it is done or none.
//     A statement that refuses transactions (CREATE INDEX CONCURRENTLY) goes alone into a file that contains the line
//     "---- tern: disable-tx ----"; it must bear being run again.
//   - What undoes the step stands below the line "---- create above / drop below ----". It is for developers and tests;
//     no server ever goes down, and a wrong step is mended by the next one. A step that was released is never edited.
//   - Expand first. Servers of this version and the last one run side by side during an upgrade, so a step only adds:
//     tables, nullable columns or ones with a default, constraints NOT VALID and validated later. What nobody uses any
//     more goes in the version after that in which its last reader went.
//   - A step that alters a table in use begins with SET LOCAL lock_timeout = '5s', so that it gives way rather than
//     queue in front of everybody.
package migrations

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"regexp"
	"strconv"
)

//go:embed *.sql
var files embed.FS

// Files are the steps, in the root of the file system.
func Files() fs.FS { return files }

// Hash is the SHA-256 of all names and contents in hexadecimal. Equal hashes mean equal schemas.
func Hash() (string, error) { return hashOf(files) }

// Latest is the number of the last step, which is the schema's version once all are done.
func Latest() (int, error) { return latestOf(files) }

func hashOf(fsys fs.FS) (string, error) {
	names, err := fs.Glob(fsys, "*.sql")
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	for _, name := range names {
		text, err := fs.ReadFile(fsys, name)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(sum, "%s %d\n%s", name, len(text), text)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

var namePattern = regexp.MustCompile(`^(\d{4})_[a-z]+(_[a-z0-9]+)+\.sql$`)

func latestOf(fsys fs.FS) (int, error) {
	names, err := fs.Glob(fsys, "*.sql")
	if err != nil {
		return 0, err
	}
	for i, name := range names {
		match := namePattern.FindStringSubmatch(name)
		if match == nil {
			return 0, fmt.Errorf("migration %s: the name must look like 0007_add_furnace_notes.sql", name)
		}
		if number, err := strconv.Atoi(match[1]); err != nil || number != i+1 {
			return 0, fmt.Errorf("migration %s: the next number is %04d; leave no gap and use none twice", name, i+1)
		}
	}
	return len(names), nil
}
