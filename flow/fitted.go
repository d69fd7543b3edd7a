package flow

func fittedPhase() phaseOf { return phaseOf{} }
