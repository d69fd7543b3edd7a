package flow

func factoryPhase() phaseOf { return phaseOf{} }
