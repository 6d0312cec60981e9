package store

import (
	"encoding/json"
	"fmt"
)

// collect converts rows that cannot fail.
func collect[R, T any](rows []R, convert func(R) T) []T {
	list := make([]T, len(rows))
	for i, row := range rows {
		list[i] = convert(row)
	}
	return list
}

// decodeAll converts rows with a body in JSON.
func decodeAll[R, T any](rows []R, convert func(R) (T, error)) ([]T, error) {
	list := make([]T, len(rows))
	for i, row := range rows {
		var err error
		if list[i], err = convert(row); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// decode reads a stored body. An error means that the database holds what this server cannot read.
func decode[T any](subject string, body []byte) (T, error) {
	var value T
	if err := json.Unmarshal(body, &value); err != nil {
		return value, fmt.Errorf("read the stored %s: %w", subject, err)
	}
	return value, nil
}

// encode writes a body for storing.
func encode(subject string, value any) ([]byte, error) {
	body, err := json.Marshal(value)
	if err != nil {
		return nil, fmt.Errorf("store %s: %w", subject, err)
	}
	return body, nil
}

// noNull makes a list that the database does not take for NULL.
func noNull(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
