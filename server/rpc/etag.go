package rpc

import (
	"strconv"
	"strings"
)

// noRevision is an expected revision that nothing ever has.
const noRevision = -1

const etagPrefix = "r"

// etagOf hides a revision: callers give it back as it is and read nothing into it.
func etagOf(revision int64) string { return etagPrefix + strconv.FormatInt(revision, 36) }

// revisionOf reads an etag. Empty is 0, which means any; what is no etag of ours is no present one either.
func revisionOf(etag string) int64 {
	if etag == "" {
		return 0
	}
	digits, ok := strings.CutPrefix(etag, etagPrefix)
	revision, err := strconv.ParseInt(digits, 36, 64)
	if !ok || err != nil || revision <= 0 || etagOf(revision) != etag {
		return noRevision
	}
	return revision
}
