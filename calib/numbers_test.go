package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// line is a least-squares fit through the very equations the estimator solves.
type line struct {
	x, sd              []float64 // coefficients and their sd
	s, sse, ssr, r2, f float64
	dof                int
	V01                float64
}

// fitLine fits y = x0 (+ x1·t); one column where intercept is false.
func fitLine(t *testing.T, ts, ys []float64, intercept bool) line {
	t.Helper()
	size, at := 1, []int{0}
	if intercept {
		size, at = 2, []int{0, 1}
	}
	row := func(v float64) []float64 {
		if intercept {
			return []float64{1, v}
		}
		return []float64{v}
	}
	eq := newNormal(size)
	for i := range ts {
		eq.add(1, at, row(ts[i]), ys[i])
	}
	x, ok := eq.solve()
	if !ok {
		t.Fatal("not solved")
	}
	V, _ := eq.inverse()
	l := line{x: append([]float64(nil), x...), dof: len(ts) - size}
	mean, total := 0.0, 0.0
	for _, y := range ys {
		mean += y / float64(len(ys))
	}
	if !intercept {
		mean = 0 // R² through the origin is the uncentred one in the certified data
	}
	for i := range ts {
		p := 0.0
		for k, h := range row(ts[i]) {
			p += h * l.x[k]
		}
		l.sse += (ys[i] - p) * (ys[i] - p)
		total += (ys[i] - mean) * (ys[i] - mean)
	}
	l.ssr, l.r2 = total-l.sse, 1-l.sse/total
	l.s = math.Sqrt(l.sse / float64(l.dof))
	regressors := 1.0
	l.f = l.ssr / regressors / (l.s * l.s)
	for k := range size {
		l.sd = append(l.sd, l.s*math.Sqrt(V.At(k, k)))
	}
	if intercept {
		l.V01 = l.s * l.s * V.At(0, 1)
	}
	return l
}

func agrees(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

// TestNISTNoIntercept: NIST StRD NoInt1 and NoInt2 (reference Eberhardt), certified values as in the check-value page,
// 7.1 (seen in three public suites that copy the NIST files).
func TestNISTNoIntercept(t *testing.T) {
	var x1, y1 []float64
	for i := range 11 {
		x1, y1 = append(x1, float64(60+i)), append(y1, float64(130+i))
	}
	for _, c := range []struct {
		name                         string
		x, y                         []float64
		b, sd, s, r2, ssr, sse, mseF float64
	}{
		{"NoInt1", x1, y1, 2.07438016528926, 0.0165289256198347, 3.56753034006338, 0.999365492298663, 200457.727272727, 127.272727272727, 15750.25},
		{"NoInt2", []float64{4, 5, 6}, []float64{3, 4, 4}, 0.727272727272727, 0.0420827318078432, 0.369274472937998, 0.993348115299335, 40.7272727272727, 0.272727272727273, 298.666666666667},
	} {
		l := fitLine(t, c.x, c.y, false)
		agrees(t, c.name+" B1", l.x[0], c.b, 1e-12)
		agrees(t, c.name+" sd", l.sd[0], c.sd, 1e-9)
		agrees(t, c.name+" residual sd", l.s, c.s, 1e-9)
		agrees(t, c.name+" R2", l.r2, c.r2, 1e-12)
		agrees(t, c.name+" SSR", l.ssr, c.ssr, 1e-9)
		agrees(t, c.name+" SSE", l.sse, c.sse, 1e-9)
		agrees(t, c.name+" F", l.f, c.mseF, 1e-9)
	}
}

// norris: NIST StRD Norris, y and x in turn, as in the check-value page, 7.1.
var norris = []float64{
	0.1, 0.2, 338.8, 337.4, 118.1, 118.2, 888.0, 884.6, 9.2, 10.1, 228.1, 226.5, 668.5, 666.3, 998.5, 996.3, 449.1, 448.6,
	778.9, 777.0, 559.2, 558.2, 0.3, 0.4, 0.1, 0.6, 778.1, 775.5, 668.8, 666.9, 339.3, 338.0, 448.9, 447.5, 10.8, 11.6,
	557.7, 556.0, 228.3, 228.1, 998.0, 995.8, 888.8, 887.6, 119.6, 120.2, 0.3, 0.3, 0.6, 0.3, 557.6, 556.8, 339.3, 339.1,
	888.0, 887.2, 998.5, 999.0, 778.9, 779.0, 10.2, 11.1, 117.6, 118.3, 228.9, 229.2, 668.4, 669.1, 449.2, 448.9, 0.2, 0.5,
}

// TestNISTNorris: NIST StRD Norris; the last row, through the origin, is the page's own.
func TestNISTNorris(t *testing.T) {
	var x, y []float64
	for i := 0; i < len(norris); i += 2 {
		y, x = append(y, norris[i]), append(x, norris[i+1])
	}
	if len(x) != 36 {
		t.Fatalf("%d rows", len(x))
	}
	l := fitLine(t, x, y, true)
	agrees(t, "B0", l.x[0], -0.262323073774029, 1e-9)
	agrees(t, "sd B0", l.sd[0], 0.232818234301152, 1e-9)
	agrees(t, "B1", l.x[1], 1.00211681802045, 1e-12)
	agrees(t, "sd B1", l.sd[1], 0.000429796848199937, 1e-9)
	agrees(t, "residual sd", l.s, 0.884796396144373, 1e-9)
	agrees(t, "R2", l.r2, 0.999993745883712, 1e-12)
	agrees(t, "SSR", l.ssr, 4255954.13232369, 1e-9)
	agrees(t, "SSE", l.sse, 26.6173985294224, 1e-9)
	agrees(t, "F", l.f, 5436385.54079785, 1e-9)
	student := distuv.StudentsT{Sigma: 1, Nu: float64(l.dof)}
	agrees(t, "t of B0", l.x[0]/l.sd[0], -1.12672907498579, 1e-9)
	// the library's incomplete beta is good to some 4e-7 here; no p value is used by the method
	agrees(t, "p of B0", 2*student.CDF(-math.Abs(l.x[0]/l.sd[0])), 0.267746835947037, 1e-6)
	origin := fitLine(t, x, y, false)
	agrees(t, "B1 through the origin", origin.x[0], 1.00174208046979, 1e-12)
	agrees(t, "its sd", origin.sd[0], 0.000273277623609842, 1e-9)
	agrees(t, "its residual sd", origin.s, 0.888196561838318, 1e-9)
}

// TestGUMThermometer: GUM (JCGM 100:2008) H.3, digits as worked out in the check-value page, 7.2.
func TestGUMThermometer(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	x := make([]float64, len(temperature))
	for i := range x {
		x[i] = temperature[i] - 20
	}
	l := fitLine(t, x, b, true)
	agrees(t, "y1", l.x[0], -0.171203790131350, 1e-10)
	agrees(t, "u(y1)", l.sd[0], 0.00287759783515995, 1e-9)
	agrees(t, "y2", l.x[1], 0.00218269773988728, 1e-9)
	agrees(t, "u(y2)", l.sd[1], 0.000667938773227832, 1e-9)
	agrees(t, "r", l.V01/(l.sd[0]*l.sd[1]), -0.930429603093446, 1e-9)
	agrees(t, "s", l.s, 0.00349756396350529, 1e-9)
	agrees(t, "sum of squares", l.sse, 0.000110096583109, 1e-9)
	at30 := l.x[0] + 10*l.x[1]
	u30 := math.Sqrt(l.sd[0]*l.sd[0] + 100*l.sd[1]*l.sd[1] + 20*l.V01)
	agrees(t, "b(30)", at30, -0.149376812732477, 1e-9)
	agrees(t, "u(b(30))", u30, 0.00413859575285495, 1e-9)
}

// TestStudent: spot checks of the check-value page, 7.2 (agrees with GUM Table G.2 to the digits printed), of the
// numeric library as we use it.
func TestStudent(t *testing.T) {
	for _, c := range []struct{ nu, percent, want float64 }{
		{1, 95, 12.706}, {2, 68.27, 1.321}, {2, 95, 4.303}, {3, 90, 2.353}, {4, 99.73, 6.620}, {5, 95.45, 2.649}, {7, 95, 2.365},
		{10, 99, 3.169}, {14, 95, 2.145}, {20, 90, 1.725}, {30, 95, 2.042}, {50, 95.45, 2.051}, {100, 95, 1.984},
	} {
		student := distuv.StudentsT{Sigma: 1, Nu: c.nu}
		if got := student.Quantile(0.5 + c.percent/200); math.Abs(got-c.want) > 0.0006+0.0005*c.want*b2f(c.nu < 2) {
			t.Errorf("t(%v, %v %%) = %.4f, want %.3f", c.nu, c.percent, got, c.want)
		}
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// TestDomainExample: check-value page, 7.2, readings (45, 43.6) (60, 58.1) (70, 67.7), fit T = k·I.
func TestDomainExample(t *testing.T) {
	l := fitLine(t, []float64{45, 60, 70}, []float64{43.6, 58.1, 67.7}, false)
	agrees(t, "k", l.x[0], 0.967886, 1e-6)
	agrees(t, "s", l.s, 0.05226, 1e-3)
	agrees(t, "u(k)", l.sd[0], 0.000509, 1e-3)
	student := distuv.StudentsT{Sigma: 1, Nu: 2}
	half := student.Quantile(0.975) * l.sd[0]
	if math.Abs(l.x[0]-half-0.96569) > 1e-5 || math.Abs(l.x[0]+half-0.97008) > 1e-5 {
		t.Errorf("95 %% interval %.5f to %.5f", l.x[0]-half, l.x[0]+half)
	}
	agrees(t, "next value from 2700", 2700*l.x[0], 2613.3, 1e-4)
	both := fitLine(t, []float64{45, 60, 70}, []float64{43.6, 58.1, 67.7}, true)
	agrees(t, "slope", both.x[1], 0.964211, 1e-6)
	agrees(t, "intercept", both.x[0], 0.2211, 1e-3)
}
