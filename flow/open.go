package flow

func openPhase() phaseOf { return phaseOf{} }
