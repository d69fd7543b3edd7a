package demo

import (
	"encoding/json"
	"fmt"
)

// facts are the figures that the assistant gave beside its words, by the names
// of the contract.
type facts struct {
	Errors []struct {
		At        float64
		Unit      string
		Before    float64
		After     float64
		PlusMinus float64 `json:"plus_minus"`
	} `json:"errors"`
	Decision struct {
		Do      string          `json:"do"`
		Value   json.RawMessage `json:"value"`
		Because string          `json:"because"`
	} `json:"decision"`
}

// add takes the latest of each.
func (f *facts) add(said map[string]any) error {
	b, err := json.Marshal(said)
	if err != nil {
		return fmt.Errorf("read facts: %w", err)
	}
	next := facts{}
	if err := json.Unmarshal(b, &next); err != nil {
		return fmt.Errorf("read facts: %w", err)
	}
	if len(next.Errors) > 0 {
		f.Errors = next.Errors
	}
	if next.Decision.Do != "" {
		f.Decision = next.Decision
	}
	return nil
}
