package flow

func closePhase() phaseOf { return phaseOf{} }
