package render

import (
	"encoding/json"
	"io"

	"go.yaml.in/yaml/v3"
)

func writeYAML(out io.Writer, t any) error {
	node, err := yamlNode(t)
	if err != nil {
		return err
	}
	encoder := yaml.NewEncoder(out)
	encoder.SetIndent(2)
	if err := encoder.Encode(node); err != nil {
		return err
	}
	return encoder.Close()
}

func yamlNode(t any) (*yaml.Node, error) {
	switch x := t.(type) {
	case object:
		node := &yaml.Node{Kind: yaml.MappingNode}
		for _, m := range x {
			value, err := yamlNode(m.value)
			if err != nil {
				return nil, err
			}
			node.Content = append(node.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: m.key}, value)
		}
		return node, nil
	case []any:
		node := &yaml.Node{Kind: yaml.SequenceNode}
		for _, element := range x {
			value, err := yamlNode(element)
			if err != nil {
				return nil, err
			}
			node.Content = append(node.Content, value)
		}
		return node, nil
	case json.Number:
		return &yaml.Node{Kind: yaml.ScalarNode, Value: x.String()}, nil
	}
	node := &yaml.Node{}
	err := node.Encode(t) // quotes a text that would read as something else
	return node, err
}
