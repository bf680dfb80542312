package joblog

import _ "embed"

//go:embed schema.json
var jsonSchema []byte

// JSONSchema returns the JSON Schema (draft 2020-12) of one entry.
func JSONSchema() []byte { return append([]byte(nil), jsonSchema...) }
