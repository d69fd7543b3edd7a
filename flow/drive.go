package flow

func drivePhase() phaseOf { return phaseOf{} }
