package limit

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestBucketsAreBounded(t *testing.T) {
	now := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	b := New(1, 2)
	for i := range 2 * mostBuckets {
		b.Take(fmt.Sprint(i), now)
	}
	assert.Len(t, b.byKey, mostBuckets)
	assert.False(t, b.Take("one more", now), "whoever comes on top shares a bucket")
	assert.True(t, b.Take("one more", now.Add(time.Minute)))
	assert.Len(t, b.byKey, 1, "those that are full again made room")
}
