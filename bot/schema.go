package bot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	fastjson "github.com/goccy/go-json"
)

// decodeDocument reads a stored document into work, a pointer to a struct. It refuses one
// that a newer program wrote under a newer schema: what it means could only be guessed, and
// the event comes again, perhaps to a replica that knows. Fields that this program does not
// know are reported and kept (keepUnknown): a newer program has added them.
func decodeDocument(doc Document, work any) (unknown bool, err error) {
	reader := fastjson.NewDecoder(bytes.NewReader(doc.Body))
	reader.DisallowUnknownFields()
	if err := reader.Decode(work); err != nil {
		unknown = true
		reflect.ValueOf(work).Elem().SetZero()
		if err := json.Unmarshal(doc.Body, work); err != nil {
			return false, fmt.Errorf("document %s cannot be read: %s", doc.Key.Kind, withoutValue(err))
		}
	}
	if n := schemaOf(work); n > documentSchema {
		return unknown, fmt.Errorf("document %s is of schema %d, this program knows %d: %w", doc.Key.Kind, n, documentSchema, errNewer)
	}
	return unknown, nil
}

// errNewer is a document of a schema that this program does not know.
var errNewer = errors.New("run the newer program")

// badDocument is a document that stops a decision. It names nothing that stands in it.
type badDocument struct{ error }

// Unwrap returns why it cannot be read.
func (b badDocument) Unwrap() error { return b.error }

// withoutValue says what is wrong with JSON and never repeats a value: somebody's words may
// stand there.
func withoutValue(err error) string {
	var wrong *json.UnmarshalTypeError
	var broken *json.SyntaxError
	switch {
	case errors.As(err, &wrong):
		return "its field " + wrong.Field + " is no " + wrong.Type.String()
	case errors.As(err, &broken):
		return fmt.Sprint("it is no JSON from byte ", broken.Offset, " on")
	}
	return "one of its fields holds what it should not"
}

func schemaOf(work any) int {
	switch w := work.(type) {
	case *Person:
		return w.Schema
	case *Call:
		return w.Schema
	case *Catcher:
		return w.Schema
	case *blocks:
		return w.Schema
	}
	return 0
}

// keepUnknown adds to body, which was made of a struct of this type, the fields of old that
// the type does not know, in it and in the structs inside it. Lists are written as they
// are: their members have no names to find each other by.
func keepUnknown(old, body []byte, of reflect.Type) []byte {
	var was, is map[string]json.RawMessage
	if json.Unmarshal(old, &was) != nil || json.Unmarshal(body, &is) != nil {
		return body
	}
	known := fieldsOf(of)
	for _, name := range slices.Sorted(maps.Keys(was)) {
		inner, ok := known[name]
		switch {
		case !ok:
			is[name] = was[name]
		case inner != nil && len(is[name]) > 0 && is[name][0] == '{':
			is[name] = keepUnknown(was[name], is[name], inner)
		}
	}
	merged, err := json.Marshal(is) // a map is written in the order of its keys
	if err != nil {
		return body
	}
	return merged
}

// fieldsOf returns the JSON names of a struct's fields, each with its type if that is a
// struct itself, else nil. Embedded structs count as part of it.
func fieldsOf(t reflect.Type) map[string]reflect.Type {
	names := map[string]reflect.Type{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		of := f.Type
		if of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		isStruct := of.Kind() == reflect.Struct && !of.Implements(marshaler) && !reflect.PointerTo(of).Implements(marshaler)
		if f.Anonymous && name == "" && isStruct {
			maps.Copy(names, fieldsOf(of))
			continue
		}
		if name == "" {
			name = f.Name
		}
		if names[name] = nil; isStruct {
			names[name] = of
		}
	}
	return names
}

var marshaler = reflect.TypeFor[json.Marshaler]()
