package flow

import (
	"math"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// What a job leaves behind beside the dash: odometer, engine speed, and the
// values of every module.

// eachModule lists a value of every module, named and with its unit.
func (t *turn) eachModule(value func(*Module) Value) string {
	var parts []string
	for i := range t.s.Modules {
		m := &t.s.Modules[i]
		parts = append(parts, strings.TrimSpace(t.moduleWord(m.Name)+" "+withUnit(m, value(m))))
	}
	return strings.Join(parts, ", ")
}

// restoreArgs are what goes back with the old tyres.
func (t *turn) restoreArgs() words.Args {
	if len(t.s.Modules) > 1 {
		return words.Args{"Original": t.eachModule((*Module).Restore), "Many": true}
	}
	return words.Args{"Original": withUnit(t.s.Main(), t.s.Main().Restore()), "Many": false}
}

// evenCompared is the share of the distance that is not worth a word where the
// odometer was compared with a track.
const evenCompared = 0.002

// odometerArgs say how much the odometer counts wrong with the value now
// stored. What rests on sizes alone is not said where it is within their sd.
func (t *turn) odometerArgs(a assessed, args words.Args) {
	e := a.Model.Effects()
	sizes := a.Model.Odometer().Comparisons == 0
	even := evenCompared
	if sizes {
		even = math.Max(e.OdometerSD, evenCompared)
	}
	args["Percent"], args["Short"] = unit.Figure(math.Abs(e.OdometerShort)*100, 1), e.OdometerShort > 0
	args["Sizes"], args["Even"] = sizes, math.Abs(e.OdometerShort) < even
}

// leastEffect is the change of the wheel's roll that is worth telling.
const leastEffect = 0.005

// sayEffects tells the distance since the tyres were fitted, engine speed and
// effective axle ratio.
func (t *turn) sayEffects(a assessed) {
	s, sizes := t.s, a.Model.Odometer().Comparisons == 0
	args := words.Args{"Unit": t.distanceUnit(), "Sizes": sizes, "Driven": "", "Until": s.Writes() > 0, "Engine": "", "Slower": false, "Axle": "", "Acts": ""}
	least := math.Max(leastEffect, a.Model.Effects().OdometerSD)
	if ratio, err := a.Model.DistanceRatio(calibValue(s.before())); err == nil && s.Value(QGears) != "changed" && math.Abs(ratio-1) >= least {
		driven := calib.TrueDistance(1000, ratio)
		if sizes { // no better than 1 %
			driven = math.Round(driven/5) * 5
		}
		args["Driven"] = unit.Figure(driven, 0)
	}
	if turns, ok := s.engineTurns(a.Model.Effects()); ok && math.Abs(turns) >= leastEffect {
		args["Engine"], args["Slower"] = unit.Figure(math.Abs(turns)*100, 1), turns < 0
		if now := s.axleNow(); now > 0 {
			args["Axle"] = plainFigure(now)
			args["Acts"] = unit.Figure(calib.EffectiveAxleRatio(now, a.Model.Effects().RollingRatio), 2)
		}
	}
	if args["Driven"] != "" || args["Engine"] != "" {
		t.say(Result, "close.effects", args)
	}
}

// before is the main module's value until the first write that took.
func (s *State) before() Value {
	for _, c := range s.Changes {
		if c.Took && c.Why == "target" && c.Module == s.mainName() && !c.Before.Zero() {
			return c.Before
		}
	}
	return s.Main().Now
}

// engineTurns is the change of engine speed at the same true speed, as a
// fraction; not known where other gears are and their ratios aren't.
func (s *State) engineTurns(e calib.Effects) (float64, bool) {
	if s.Value(QGears) != "changed" {
		return e.EngineSpeed, true
	}
	was, now := s.ratio("factory"), s.ratio("now")
	if was <= 0 || now <= 0 {
		return 0, false
	}
	return (1+e.EngineSpeed)*now/was - 1, true
}

// axleNow is the axle ratio that is fitted, 0 where it isn't known.
func (s *State) axleNow() float64 {
	if r := s.ratio("now"); r > 0 {
		return r
	}
	if m := s.Main(); m.Kind == string(calib.AxleRatio) && s.Value(QGears) != "changed" && !m.Factory().Zero() {
		return m.Factory().Num
	}
	return 0
}
