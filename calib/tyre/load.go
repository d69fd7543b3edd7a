package tyre

import (
	"fmt"
	"strconv"
	"strings"
)

// loads is the load in kg by index, UN R30 and R54 Annex 4. 0 to 119 seen on two
// pages, 142, 165 and 168 in operator's manuals, the rest from memory.
var loads = [...]float64{
	45, 46.2, 47.5, 48.7, 50, 51.5, 53, 54.5, 56, 58,
	60, 61.5, 63, 65, 67, 69, 71, 73, 75, 77.5,
	80, 82.5, 85, 87.5, 90, 92.5, 95, 97.5, 100, 103,
	106, 109, 112, 115, 118, 121, 125, 128, 132, 136,
	140, 145, 150, 155, 160, 165, 170, 175, 180, 185,
	190, 195, 200, 206, 212, 218, 224, 230, 236, 243,
	250, 257, 265, 272, 280, 290, 300, 307, 315, 325,
	335, 345, 355, 365, 375, 387, 400, 412, 425, 437,
	450, 462, 475, 487, 500, 515, 530, 545, 560, 580,
	600, 615, 630, 650, 670, 690, 710, 730, 750, 775,
	800, 825, 850, 875, 900, 925, 950, 975, 1000, 1030,
	1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360,
	1400, 1450, 1500, 1550, 1600, 1650, 1700, 1750, 1800, 1850,
	1900, 1950, 2000, 2060, 2120, 2180, 2240, 2300, 2360, 2430,
	2500, 2575, 2650, 2725, 2800, 2900, 3000, 3075, 3150, 3250,
	3350, 3450, 3550, 3650, 3750, 3875, 4000, 4125, 4250, 4375,
	4500, 4625, 4750, 4875, 5000, 5150, 5300, 5450, 5600, 5800,
	6000,
}

// LoadKg is the load a tyre of that index carries, in kg; indices 0 to 170.
// A light-truck tyre has its own limit printed on the sidewall, which is not
// always the index's.
func LoadKg(index int) (kg float64, ok bool) {
	if index < 0 || index >= len(loads) {
		return 0, false
	}
	return loads[index], true
}

// LoadIndices splits "121/118" into the single and the dual index; dual is 0
// where only one is marked.
func LoadIndices(text string) (single, dual int, err error) {
	first, second, both := strings.Cut(strings.TrimSpace(text), "/")
	if single, err = loadIndex(first); err != nil {
		return 0, 0, fmt.Errorf("read load index %s: %w", quote(text), err)
	}
	if !both {
		return single, 0, nil
	}
	if dual, err = loadIndex(second); err != nil {
		return 0, 0, fmt.Errorf("read load index %s: %w", quote(text), err)
	}
	return single, dual, nil
}

func loadIndex(text string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil {
		return 0, fmt.Errorf("not a whole number")
	}
	if _, ok := LoadKg(n); !ok {
		return 0, fmt.Errorf("%d is outside 0 to %d", n, len(loads)-1)
	}
	return n, nil
}
