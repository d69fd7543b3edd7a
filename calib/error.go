package calib

// A FieldError says which field of a Case can't be used, and why, in words for the person who typed it.
type FieldError struct {
	Field string `json:"field"` // e.g. known.new_size, drives[0].readings[2].indicated
	Text  string `json:"text"`
}

// Error gives field and text.
func (e *FieldError) Error() string {
	if e.Field == "" {
		return e.Text
	}
	return e.Field + ": " + e.Text
}
