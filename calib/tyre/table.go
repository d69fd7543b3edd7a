package tyre

// tableRow is a size whose diameter stands in a table and follows from no
// formula.
type tableRow struct {
	name   string
	mm     float64
	source string
}

// The diameters are from memory of the annexes and are only ever offered for
// confirmation.
const (
	r30 = "UN R30 Annex 5, from memory"
	r54 = "UN R54 Annex 5, from memory"
)

var table = []tableRow{
	{"155R13", 578, r30}, {"165R13", 596, r30}, {"175R14", 634, r30}, {"185R14", 650, r30},
	{"195R14", 666, r54}, {"165R15", 646, r30},
	{"6.50R16", 742, r54}, {"7.00R16", 778, r54}, {"7.50R16", 802, r54}, {"8.25R16", 860, r54},
	{"9.00R20", 1018, r54}, {"10.00R20", 1052, r54}, {"11.00R20", 1082, r54}, {"12.00R20", 1122, r54},
	{"10R22.5", 1020, r54}, {"11R22.5", 1050, r54}, {"12R22.5", 1084, r54}, {"13R22.5", 1124, r54},
}

// tableDiameter looks the bare marking up; zero where it is not in the table.
func tableDiameter(name string) (mm float64, source string) {
	for _, row := range table {
		if row.name == name {
			return row.mm, row.source
		}
	}
	return 0, ""
}
