package main

// theFile stands for the backup's file among the inputs of a job.
const theFile = "(file)"

// wholeJob is a job from the open to the close, an input a line: the bay
// conversation of the specification, with UNIT for the vehicle.
var wholeJob = []string{
	"new job UNIT, in the bay, 48210 mi",
	"no",
	"all yes 13.4",
	"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000",
	"yes, both",
	theFile,
	"LT285/75R17 121/118S 12/12, placard pressure, gears unchanged",
	"drive first",
	"go",
	"61/65 56/60 47/50 58/62 51/55",
	"parked, no lamps, no codes",
	"took",
	"2609",
	"none",
	"go",
	"65/65 60/60 62/62",
	"parked none",
	"close",
	"all yes",
	"no",
}
