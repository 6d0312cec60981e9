package render

import (
	"bytes"

	"google.golang.org/protobuf/proto"
)

// Messages is a list of messages within a struct that Write shows; in JSON and YAML they look as they do by themselves.
type Messages[M proto.Message] []M

// MarshalJSON shows the messages by their descriptors. Errors: as Write.
func (l Messages[M]) MarshalJSON() ([]byte, error) {
	t, err := tree([]M(l))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = denseJSON(&out, t)
	return out.Bytes(), err
}
