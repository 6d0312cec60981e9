package heat

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// testRow is a row of a file in testdata by column name.
type testRow map[string]string

func readRows(t *testing.T, name string) []testRow {
	t.Helper()
	opened, err := os.Open(filepath.Join("testdata", name))
	require.NoError(t, err)
	defer opened.Close()
	records, err := csv.NewReader(opened).ReadAll()
	require.NoError(t, err)
	var rows []testRow
	for _, record := range records[1:] {
		row := testRow{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		require.NotEmpty(t, row["source"])
		rows = append(rows, row)
	}
	return rows
}

func (r testRow) number(t *testing.T, column string) float64 {
	t.Helper()
	value, err := strconv.ParseFloat(r[column], 64)
	require.NoError(t, err)
	return value
}
