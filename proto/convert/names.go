// Package convert turns messages of the contract into the value types of chem and back, for the server and the clients
// alike. It applies the contract's defaults: where a message leaves something open, the value has what the message's
// comment says it then means. It checks nothing; what cannot be is for chem and the server to say.
package convert

import "strings"

// ID is the last part of a resource's name, for example "kiln-hall" of "studios/marl-lane/rooms/kiln-hall".
func ID(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// Name is a resource's name within a studio, for example "studios/marl-lane/rooms/kiln-hall".
func Name(studio, collection, id string) string {
	return "studios/" + studio + "/" + collection + "/" + id
}
