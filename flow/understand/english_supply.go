package understand

// What is no supply for a write. An empty meaning keeps a phrase from being read by its parts.
var englishWrongSupply = newLexicon(false, table(
	row[string]{"jump pack", "jump pack, jumppack, jump packs, jumper pack, jump starter, jump start, jump starting, jump start pack, jumpstarter, booster, booster pack, boost pack, boosterpack, jump leads, jump lead, jumper cables, jumper cable, jumper leads, jump cables, booster cables"},
	row[string]{"charger", "charger, chargers, plain charger, simple charger, battery charger, trickle charger, plain battery charger, ordinary charger, normal charger, fast charger, starter charger"},
	row[string]{"another vehicle", "second vehicle, running second vehicle, other vehicle, another vehicle, second car, other car, another car, second van, another van, second truck, another truck, donor car, donor vehicle, running car, running vehicle, neighbours car, my other car"},
	row[string]{"", "stabilised charger, stabilized charger, support charger, supply charger, charger supply, charger with supply mode"},
))
