package understand

import (
	"strings"
	"testing"
	"time"
)

// fuzz runs one reader on anything: no panic, spans inside the text, the echo reads to the same value.
func fuzz(f *testing.F, reader string) {
	for _, file := range lineFiles(f) {
		for _, l := range lines[testLine](f, file) {
			if l.Reader == reader {
				f.Add(l.Text)
			}
		}
	}
	f.Add("\x00\xff\u202e60\u2066/58\u200f")
	f.Add("<script>alert('60/58')</script>")
	f.Add("1,2.3,4'5 6½ 7 1/8 - -- ... \r\n|;")
	f.Fuzz(func(t *testing.T, text string) {
		reread(t, reader, text, Context{})
		reread(t, reader, text, Context{SpeedUnit: KmH})
	})
}

func FuzzReading(f *testing.F)   { fuzz(f, "reading") }
func FuzzStored(f *testing.F)    { fuzz(f, "stored") }
func FuzzSize(f *testing.F)      { fuzz(f, "size") }
func FuzzLimits(f *testing.F)    { fuzz(f, "limits") }
func FuzzReadback(f *testing.F)  { fuzz(f, "readback") }
func FuzzOdometer(f *testing.F)  { fuzz(f, "odometer") }
func FuzzStretch(f *testing.F)   { fuzz(f, "stretch") }
func FuzzVolts(f *testing.F)     { fuzz(f, "volts") }
func FuzzSupply(f *testing.F)    { fuzz(f, "supply") }
func FuzzTread(f *testing.F)     { fuzz(f, "tread") }
func FuzzPressure(f *testing.F)  { fuzz(f, "pressure") }
func FuzzRevs(f *testing.F)      { fuzz(f, "revs") }
func FuzzRollout(f *testing.F)   { fuzz(f, "rollout") }
func FuzzGears(f *testing.F)     { fuzz(f, "gears") }
func FuzzSpeedFrom(f *testing.F) { fuzz(f, "speed_from") }
func FuzzLoad(f *testing.F)      { fuzz(f, "load") }
func FuzzPlace(f *testing.F)     { fuzz(f, "place") }
func FuzzUnits(f *testing.F)     { fuzz(f, "units") }
func FuzzRule(f *testing.F)      { fuzz(f, "rule") }
func FuzzAim(f *testing.F)       { fuzz(f, "aim") }
func FuzzOpen(f *testing.F)      { fuzz(f, "open") }
func FuzzYesno(f *testing.F)     { fuzz(f, "yesno") }
func FuzzChoice(f *testing.F)    { fuzz(f, "choice") }
func FuzzChecklist(f *testing.F) { fuzz(f, "checklist") }
func FuzzCodes(f *testing.F)     { fuzz(f, "codes") }
func FuzzLamps(f *testing.F)     { fuzz(f, "lamps") }
func FuzzTool(f *testing.F)      { fuzz(f, "tool") }
func FuzzVin(f *testing.F)       { fuzz(f, "vin") }
func FuzzModule(f *testing.F)    { fuzz(f, "module") }
func FuzzGuest(f *testing.F)     { fuzz(f, "guest") }
func FuzzCommand(f *testing.F)   { fuzz(f, "command") }
func FuzzClean(f *testing.F)     { fuzz(f, "clean") }

// TestHugeInput: a megabyte of anything is read up to the cap, quickly and without harm.
func TestHugeInput(t *testing.T) {
	const mega = 1 << 20
	for _, unit := range []string{"6", "60/58 ", "60 ", "a", " ", "\n", "dash ", "gps 60 dash ", "sixty ", "seven ", "1,", "1 234 ", "P0300 ", "<", "<a ", "\u202e", "½", "yes ", "no ", "1 yes ", "and ", "265/70R17 ", "٣", "abs light on ", "-", "7QKM-"} {
		text := strings.Repeat(unit, mega/len(unit)+1)
		for name, read := range readers {
			start := time.Now()
			read(text, Context{})
			if d := time.Since(start); d > time.Minute { // a hang, not a benchmark
				t.Errorf("%s on %q…: %v", name, unit, d)
			}
		}
	}
}

func BenchmarkReaders(b *testing.B) {
	text := "LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000, 60 on the dash 58 gps, 12/12 tread"
	for name, read := range readers {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				read(text, Context{})
			}
		})
	}
}

func BenchmarkMegabyte(b *testing.B) {
	text := strings.Repeat("gps 60 dash ", 1<<20/12)
	for b.Loop() {
		Readings(text, Context{})
	}
}
