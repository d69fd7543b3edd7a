package track_test

import (
	"math"
	"testing"

	"milepost/calib"
	"milepost/calib/track"
	"milepost/calib/unit"
)

// What a passenger would have read in that minute: pairs at nearly steady moments, rounded as a dash and a
// phone show them, given to the review as readings. The ratio that least squares finds in the whole record
// has to lie in the interval that the review states.
func TestRealDriveReview(t *testing.T) {
	d := loadDrive(t)
	k, _ := ratio(d.pairs(0, latency.Seconds()))
	for _, c := range []struct {
		name      string
		unit      unit.Speed
		step      float64 // of the phone
		trackMean bool
	}{
		{"mph, whole", unit.MPH, 1, false},
		{"mph, phone with tenths", unit.MPH, 0.1, false},
		{"mph, mean of the track", unit.MPH, 0.1, true},
		{"km/h, whole", unit.KMH, 1, false},
		{"km/h, phone with tenths", unit.KMH, 0.1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			readings, fastest := d.readings(c.unit, c.step, c.trackMean)
			if len(readings) < 4 {
				t.Fatalf("%d readings", len(readings))
			}
			const stored = 2438.0
			answer, err := calib.Review(calib.Case{
				Known: calib.Known{
					ValueKind:          "circumference_mm",
					StoredFactoryValue: calib.Number(stored),
					FactorySize:        calib.SizeText("LT265/70R17"),
					NewSize:            calib.SizeText("LT265/70R17"),
					DashUnit:           c.unit,
					GPSDisplayStep:     &c.step,
				},
				Drives: []calib.Drive{{Value: calib.Number(stored), Readings: readings}},
			})
			if err != nil {
				t.Fatal(err)
			}
			e := answer.Estimate
			t.Logf("%v: C %.1f, stated %.1f to %.1f, by least squares %.1f", readings, e.CircumferenceMM, e.Low, e.High, stored/k)
			// Dash = k × GPS at the stored value, hence C_eff = S/k.
			if truth := stored / k; !(e.Low <= truth && truth <= e.High) {
				t.Errorf("S/k = %.1f lies outside %.1f to %.1f", truth, e.Low, e.High)
			}
			if width := (e.High - e.Low) / e.CircumferenceMM; width > 0.05 {
				t.Errorf("an interval %.1f %% wide says nothing", 100*width)
			}
			for _, at := range answer.Errors {
				t.Logf("at %v: %.2f ± %.2f, by least squares %.2f", at.At, at.Before, at.PlusMinus, (k-1)*at.At)
				if truth := (k - 1) * at.At; math.Abs(at.Before-truth) > at.PlusMinus {
					t.Errorf("at %v: %.2f lies outside %.2f ± %.2f", at.At, truth, at.Before, at.PlusMinus)
				}
			}
			slow := fastest < map[unit.Speed]float64{unit.MPH: 45, unit.KMH: 70}[c.unit]
			if got := warned(answer, "too_slow"); got != slow {
				t.Errorf("too_slow %v with the fastest at %v %s", got, fastest, c.unit)
			}
			if slow && answer.Decision.Do != "read" {
				t.Errorf("decision %q on a drive too slow", answer.Decision.Do)
			}
		})
	}
}

// readings takes one pair from each nearly steady moment: means of both speeds over it, the vehicle's
// earlier by the receiver's delay, the dash to whole units.
func (d drive) readings(u unit.Speed, step float64, trackMean bool) (readings []calib.Reading, fastest float64) {
	shown := func(mps, step float64) float64 {
		return unit.RoundTo(math.Round(u.FromKMH(mps*unit.KMHPerMetrePerSecond)/step)*step, 1)
	}
	for _, s := range d.track.Steady(nearlySteady) {
		r := calib.Reading{
			Indicated: shown(d.vehicleMean(s), 1),
			Reference: shown(s.SpeedMPS, step),
			TrackMean: trackMean,
		}
		readings = append(readings, r)
		fastest = max(fastest, r.Reference)
	}
	return readings, fastest
}

// vehicleMean is the mean of the broadcast speed over a stretch, at the times it belongs to.
func (d drive) vehicleMean(s track.Stretch) float64 {
	start := float64(s.Start.UnixMilli())/1000 - latency.Seconds()
	end := start + s.Duration.Seconds()
	sum, n := 0.0, 0
	for i, at := range d.at {
		if at >= start && at <= end {
			sum += d.speed[0][i]
			n++
		}
	}
	return sum / float64(n)
}

func warned(a calib.Answer, code calib.Code) bool {
	for _, w := range a.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}
