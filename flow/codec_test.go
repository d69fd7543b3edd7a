package flow

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

// The fields of every fact stand in the order of their keys, so that what is
// written is canonical (RFC 8785) without a second pass.
func TestFactsAreWrittenInOrder(t *testing.T) {
	for kind, versions := range decoders {
		for _, mk := range versions {
			inOrder(t, string(kind), reflect.TypeOf(mk()).Elem())
		}
	}
}

var marshaler = reflect.TypeFor[json.Marshaler]()

func inOrder(t *testing.T, where string, typ reflect.Type) {
	for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
		typ = typ.Elem()
	}
	if typ.Kind() != reflect.Struct || typ.Implements(marshaler) {
		return
	}
	last := ""
	for i := range typ.NumField() {
		f := typ.Field(i)
		key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if key == "" || key <= last {
			t.Errorf("%s: %q stands after %q", where, key, last)
		}
		last = key
		inOrder(t, where+"."+key, f.Type)
	}
}
