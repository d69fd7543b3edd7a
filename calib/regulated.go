package calib

// Regulated is a class of vehicle that usually carries equipment only an approved workshop may calibrate. It prompts
// the question of the gate; it refuses nobody by itself.
type Regulated struct {
	Region    string // "EU", "AU", "US"
	Class     string
	Equipment string // "tachograph", "speed limiter", "taximeter"
	Source    string
	Mark      Mark
}

// RegulatedClasses gives the classes known, by region. Check values, section 5: after any change of the tyre
// circumference an inspection is due ((EU) 2016/799, Annex I C, 409, seen).
func RegulatedClasses() []Regulated { return append([]Regulated(nil), regulated...) }

var regulated = []Regulated{
	{"EU", "goods vehicles over 3.5 t, trailer included", "tachograph", "Regulation (EC) 561/2006, Article 2(1)(a)", Memory},
	{"EU", "goods vehicles over 2.5 t across borders, from 1 July 2026", "tachograph", "Regulation (EC) 561/2006 as amended by (EU) 2020/1054, Article 2(1)", Memory},
	{"EU", "passenger vehicles with more than nine seats, the driver's included", "tachograph", "Regulation (EC) 561/2006, Article 2(1)(b)", Memory},
	{"EU", "M2, M3, N2 and N3", "speed limiter", "Directive 92/6/EEC as amended by 2002/85/EC", Memory},
	{"EU", "taxis", "taximeter", "Directive 2014/32/EU, Annex IX", Memory},
	{"AU", "goods vehicles over 12 t, buses over 14.5 t", "speed limiter", "ADR 65/00", Memory},
	{"US", "taxicabs", "taximeter", "NIST Handbook 44, section 5.54", Memory},
}
