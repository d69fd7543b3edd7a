package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"milepost/flow"
)

// vehicleKey is what jobs of the same vehicle are found by: a hash, salted with
// the log's own random number, of the words in one form. Keys are emptied when
// the words are erased.
func vehicleKey(salt, kind, text string) string {
	if bare := setWords.ReplaceAllString(text, ""); bare != "" {
		text = bare // "unit 14, winter set on" is unit 14
	}
	norm := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, text)
	if norm == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(salt + "\x00" + kind + "\x00" + norm))
	return kind + ":" + hex.EncodeToString(sum[:16])
}

// setWords are what people add to a vehicle's name of the tyres that are on it.
var setWords = regexp.MustCompile(`(?i)[\s,;:(-]*\b(?:with |on |back on |now on )*(?:the |its |their )?(?:winter|summer|all[- ]season|factory|standard|original|old|new|other|second) (?:set|tyres?|tires?|wheels?)\b.*$`)

// keys are all a job can be found by.
func keys(salt string, f *finds) []string {
	var ks []string
	for _, k := range []string{vehicleKey(salt, "vin", f.vin), vehicleKey(salt, "vehicle", f.vehicle)} {
		if k != "" {
			ks = append(ks, k)
		}
	}
	for _, c := range f.codes {
		ks = append(ks, codeKey(c))
	}
	return ks
}

// newKeys are those of after that before had not.
func newKeys(salt string, before, after finds) []string {
	if before.vehicle == after.vehicle && before.vin == after.vin && len(before.codes) == len(after.codes) {
		return nil
	}
	old := keys(salt, &before)
	return slices.DeleteFunc(keys(salt, &after), func(k string) bool { return slices.Contains(old, k) })
}

// maxKnown bounds how many earlier jobs are looked at.
const maxKnown = 5

// known gives what an earlier job left a vehicle at: the newest that ended with
// a value, by VIN before by name. Nil if there is none.
func (b *Bot) known(ctx context.Context, s *shop, job string, f finds) (*flow.Known, error) {
	for _, by := range []struct {
		key string
		vin bool
	}{{vehicleKey(s.salt, "vin", f.vin), true}, {vehicleKey(s.salt, "vehicle", f.vehicle), false}} {
		if by.key == "" {
			continue
		}
		jobs, err := b.cfg.Store.Known(ctx, s.name, by.key)
		if err != nil {
			return nil, failed("known vehicle", err)
		}
		jobs = slices.DeleteFunc(jobs, func(j string) bool { return j == job })
		for _, j := range jobs[:min(len(jobs), maxKnown)] {
			old, err := readJob(ctx, b.cfg.Store, s.name, j)
			if err != nil {
				return nil, err
			}
			if k := leftAt(old.state); k != nil {
				k.VIN = by.vin
				return k, nil
			}
		}
	}
	return nil, nil
}

// leftAt is what a finished job left its vehicle at, nil if it did not get so far.
func leftAt(s *flow.State) *flow.Known {
	m := s.Main()
	if s.Phase != flow.PhaseClosed || m == nil || m.Now.Zero() {
		return nil
	}
	k := &flow.Known{Job: s.Job, When: s.Last, Size: s.Sizes["fitted"], Factory: s.Sizes["factory"], Module: *m}
	if a := s.Answers[flow.Key{Question: flow.QOdometer}]; !a.Skipped {
		k.Odometer, k.OdometerUnit = a.Number, a.Unit
	}
	if s.Restored {
		k.Size = k.Factory
	}
	return k
}
