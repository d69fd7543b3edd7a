package flow

func changePhase() phaseOf { return phaseOf{} }
