package flow

func recoverPhase() phaseOf { return phaseOf{} }
