package calib

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// ParseCase reads one case from JSON. Unknown keys are passed over. An error is a *FieldError; the case then holds
// its id where that could be read.
func ParseCase(data []byte) (Case, error) {
	var c Case
	dec := json.NewDecoder(bytes.NewReader(data))
	err := dec.Decode(&c)
	if err == nil {
		if _, more := dec.Token(); more != io.EOF {
			err = errors.New("one JSON object is expected, and nothing after it")
		}
	}
	if bytes.HasPrefix(bytes.TrimSpace(data), []byte("null")) && err == nil {
		err = errors.New("one JSON object is expected")
	}
	if !plainID(c.ID) {
		c.ID = nil
		if err == nil {
			return c, &FieldError{"id", "must be a text or a number"}
		}
	}
	var wrong *json.UnmarshalTypeError
	switch {
	case err == nil:
		return c, nil
	case errors.As(err, &wrong):
		return c, &FieldError{wrong.Field, fmt.Sprintf("must not be a %s", wrong.Value)}
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return c, &FieldError{"", "not a whole JSON object"}
	}
	return c, &FieldError{"", "not JSON as expected: " + err.Error()}
}

const maxID = 200

// plainID takes an absent id, a text or a number.
func plainID(id json.RawMessage) bool {
	if len(id) == 0 || string(id) == "null" {
		return true
	}
	return len(id) <= maxID && id[0] != '{' && id[0] != '[' && id[0] != 't' && id[0] != 'f'
}
