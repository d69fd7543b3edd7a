package flow

func reviewPhase() phaseOf { return phaseOf{} }
