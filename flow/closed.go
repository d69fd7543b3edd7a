package flow

func closedPhase() phaseOf { return phaseOf{} }
