package understand

// Modules of a vehicle, as categories.
const (
	Engine       = "engine"
	Gearbox      = "gearbox"
	Brake        = "brake"
	Stability    = "stability"
	Steering     = "steering"
	Body         = "body"
	TransferCase = "transfer_case"
	Cluster      = "cluster"
	Gateway      = "gateway"
	OtherModule  = "other"
)

var englishModules = newLexicon(true, table(
	row[string]{Engine, "engine, engine module, engine control, engine computer, ecm, pcm, ecu, dme, powertrain, motor, engine ecu"},
	row[string]{Gearbox, "gearbox, transmission, trans, tcm, tcu, gearbox module, auto box, automatic, transmision, tranny"},
	row[string]{Brake, "abs, brake, brakes, brake module, abs module, abs unit, brake control, ebcm, antilock, anti lock, ebs"},
	row[string]{Stability, "stability, esc, esp, dsc, vsc, vdc, stability control, stability module, traction, traction control, yaw"},
	row[string]{Steering, "steering, eps, power steering, steering angle"},
	row[string]{Body, "body, bcm, body module, body control, body computer, body control module, central electronics, cem"},
	row[string]{TransferCase, "transfer case, transfer box, transfercase, tccm, t case, tcase, 4x4 module, four wheel drive module, awd module"},
	row[string]{Cluster, "cluster, instrument cluster, instrument, instruments, instrument panel, ipc, dash module, dashboard module, dash, speedo, clocks, kombi, cluster module, combination meter, ic, gauges"},
	row[string]{Gateway, "gateway, gateway module, cgw"},
))

// Modules finds the modules named in a text, in order.
func Modules(text string) []Match[string] {
	ts := tokens(text)
	var out []Match[string]
	for _, p := range englishModules.all(ts) {
		out = append(out, Match[string]{Value: p.value, Start: ts[p.from].start, End: ts[p.to-1].end, Echo: englishModuleEcho[p.value]})
	}
	return out
}

var englishModuleEcho = map[string]string{Engine: "engine", Gearbox: "gearbox", Brake: "abs", Stability: "stability", Steering: "steering", Body: "body",
	TransferCase: "transfer case", Cluster: "cluster", Gateway: "gateway"}
