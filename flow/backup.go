package flow

func backupPhase() phaseOf { return phaseOf{} }
