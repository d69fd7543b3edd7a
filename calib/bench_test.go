package calib

import "testing"

// BenchmarkReview reviews vehicle after vehicle of the population with five readings on a first drive and three on a
// second, without JSON. Reviews/s on one core is what counts: run with GOMAXPROCS=1.
func BenchmarkReview(b *testing.B) {
	vehicles := loadPopulation(b)
	cases := make([]Case, len(vehicles))
	for i := range vehicles {
		p := newPlay(&vehicles[i], Known{})
		p.drive(0, p.known.StoredFactoryValue, p.speeds(true))
		p.drive(1, p.known.StoredFactoryValue, p.speeds(false))
		cases[i] = p.c
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		if _, err := Review(cases[n%len(cases)]); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "reviews/s")
}
