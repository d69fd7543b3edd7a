package flow

func beforePhase() phaseOf { return phaseOf{} }
