package track

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// sentence adds $ and checksum to a body.
func sentence(body string) string {
	return fmt.Sprintf("$%s*%02X\r\n", body, checksum([]byte(body)))
}

// The rows of check-values 8.4, with the checksums printed there.
func TestChecksumRows(t *testing.T) {
	for _, c := range []struct {
		line  string
		right bool
	}{
		{"$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B", true},
		{"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", true},
		{"$GPVTG,208.02,T,,M,0.32,N,0.59,K,A*38", true},
		{"$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43", true},
		{"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68", true},
		{"$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*68", false},
		{"$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64", false},
		{"$GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A*79", true},
		{"$GPRMC,101501.00,V,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,N*60", true},
		{"$GPVTG,090.0,T,,M,60.820,N,112.639,K,A*36", true},
	} {
		if _, got := checked([]byte(c.line[1:])); got != c.right {
			t.Errorf("checked(%s) = %v, want %v", c.line, got, c.right)
		}
	}
	// The right checksums of the two wrong rows, as given there.
	for line, want := range map[string]byte{
		"GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A": 0x2B,
		"GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A":   0x41,
	} {
		if got := checksum([]byte(line)); got != want {
			t.Errorf("checksum(%s) = %02X, want %02X", line, got, want)
		}
	}
}

// The speeds of check-values 8.4. A VTG carries no time, so each follows an RMC without a speed.
func TestSpeedRows(t *testing.T) {
	rmc := sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,,090.0,251126,,,A")
	for _, c := range []struct {
		text string
		kmh  float64
		tol  float64
	}{
		{rmc + "$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B\r\n", 56.393, 0.0005},
		{rmc + "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\r\n", 4.7226, 0.00005},
		{rmc + "$GPVTG,208.02,T,,M,0.32,N,0.59,K,A*38\r\n", 0.32 * 1.852, 1e-9},
		{rmc + "$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43\r\n", 0, 0},
		{rmc + "$GPVTG,090.0,T,,M,60.820,N,112.639,K,A*36\r\n", 112.639, 0.0005},
		{"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68\r\n", 0.926, 1e-9},
		{"$GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A*79\r\n", 112.639, 0.0005},
	} {
		got, err := ReadNMEA(strings.NewReader(c.text), Limits{})
		if err != nil || len(got.Points) != 1 {
			t.Errorf("%q: %v, %v", c.text, got, err)
			continue
		}
		p := got.Points[0]
		if !p.HasSpeed || math.Abs(p.SpeedMPS*3.6-c.kmh) > c.tol {
			t.Errorf("%q: %v km/h, want %v", c.text, p.SpeedMPS*3.6, c.kmh)
		}
	}
	got, _ := ReadNMEA(strings.NewReader("$GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A*79"), Limits{})
	if mph := inUnit(got.Points[0].SpeedMPS, "mph"); math.Abs(mph-69.990) > 0.0005 {
		t.Errorf("60.820 kn = %v mph, want 69.990", mph)
	}
	if want := time.Date(2026, 11, 25, 10, 15, 0, 0, time.UTC); !got.Start().Equal(want) {
		t.Errorf("time %v, want %v", got.Start(), want)
	}
}

func TestNMEAOldDate(t *testing.T) {
	got, err := ReadNMEA(strings.NewReader("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(1994, 11, 19, 22, 54, 46, 0, time.UTC); !got.Start().Equal(want) {
		t.Errorf("time %v, want %v", got.Start(), want)
	}
}

func TestNMEARefuses(t *testing.T) {
	good := func(mode string) string {
		return sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,," + mode)
	}
	for _, c := range []struct {
		name, text string
		cause      error
		left       LeftOut
	}{
		{"void", "$GPRMC,101501.00,V,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,N*60", ErrEmpty, LeftOut{NoFix: 1}},
		{"mode N", good("N"), ErrEmpty, LeftOut{NoFix: 1}},
		{"mode E, dead reckoning", good("E"), ErrEmpty, LeftOut{NoFix: 1}},
		{"mode S, simulator", good("S"), ErrEmpty, LeftOut{NoFix: 1}},
		{"wrong checksum", "$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*68", ErrEmpty, LeftOut{BadChecksum: 1}},
		{"no checksum", "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E", ErrEmpty, LeftOut{BadChecksum: 1}},
		{"other talker", sentence("IIRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A"), ErrEmpty, LeftOut{}},
		{"speed without time", "$GPVTG,090.0,T,,M,60.820,N,112.639,K,A*36", ErrEmpty, LeftOut{}},
		{"day that isn't", sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,310226,,,A"), ErrEmpty, LeftOut{NoTime: 1}},
		{"nothing", "", ErrEmpty, LeftOut{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got, err := ReadNMEA(strings.NewReader(c.text), Limits{}); got != nil || !errors.Is(err, c.cause) {
				t.Fatalf("got %v, %v; want %v", got, err, c.cause)
			}
			// With a sound sentence behind it only the sound one counts.
			rest := sentence("GNRMC,101510.00,A,5200.0000,N,00100.0000,W,50.000,090.0,251126,,,D")
			got, err := ReadNMEA(strings.NewReader(strings.TrimRight(c.text, "\r\n")+"\n"+rest), Limits{})
			if err != nil || len(got.Points) != 1 || got.LeftOut != c.left {
				t.Errorf("got %+v, %v; want one point and %+v", got, err, c.left)
			}
		})
	}
}

func TestNMEATalkersAndModes(t *testing.T) {
	var b strings.Builder
	n := 0
	for _, talker := range []string{"GP", "GN", "GL", "GA"} {
		for _, mode := range []string{"A", "D", "F", "R", "P"} {
			b.WriteString(sentence(fmt.Sprintf("%sRMC,1015%02d.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,%s", talker, n, mode)))
			n++
		}
	}
	got, err := ReadNMEA(strings.NewReader(b.String()), Limits{})
	if err != nil || len(got.Points) != n {
		t.Fatalf("%d points, %v; want %d", len(got.Points), err, n)
	}
	if d := got.Distance(); math.Abs(d.BySpeed-60.820*1852/3600*float64(n-1)) > 1e-6 || d.ByPosition != 0 {
		t.Errorf("distance %+v", d)
	}
}

// One minute of latitude on the sphere is 1853.25 m (check-values 8.5).
func TestNMEAPositions(t *testing.T) {
	text := sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,,,251126,,,A") +
		sentence("GPRMC,101600.00,A,5201.0000,N,00100.0000,W,,,251126,,,A")
	got, err := ReadNMEA(strings.NewReader(text), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if d := got.Distance(); math.Abs(d.ByPosition-1853.25) > 0.005 {
		t.Errorf("one minute of latitude %v m, want 1853.25", d.ByPosition)
	}
	if got.Speeds != FromPositions {
		t.Errorf("speeds %q", got.Speeds)
	}
}

func TestNMEALineNoise(t *testing.T) {
	ok := sentence("GPRMC,101500.00,A,5200.0000,N,00100.0000,W,60.820,090.0,251126,,,A")
	text := "log started\n" + strings.Repeat("x", 5000) + "\n2026-11-25T10:15:00 " + ok + "$GPGGA,,,*00\n$\n$GPRMC\n\x00\xff\n"
	got, err := ReadNMEA(strings.NewReader(text), Limits{})
	if err != nil || len(got.Points) != 1 || got.LeftOut.Malformed != 1 {
		t.Errorf("got %+v, %v", got, err)
	}
}
