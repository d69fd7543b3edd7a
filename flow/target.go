package flow

func targetPhase() phaseOf { return phaseOf{} }
