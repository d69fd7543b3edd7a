package calib

import "gonum.org/v1/gonum/mat"

// normal holds the normal equations A·x = a of a least-squares fit, and the room to solve them again and again.
type normal struct {
	size  int
	sums  []float64 // A, row by row; the upper triangle counts
	right []float64 // a
	A     *mat.SymDense
	a, x  *mat.VecDense
	chol  mat.Cholesky
}

func newNormal(size int) *normal {
	n := &normal{size: size, sums: make([]float64, size*size), right: make([]float64, size)}
	n.A = mat.NewSymDense(size, n.sums)
	n.a, n.x = mat.NewVecDense(size, n.right), mat.NewVecDense(size, nil)
	return n
}

func (n *normal) clear() {
	clear(n.sums)
	clear(n.right)
}

// believe adds a Gaussian prior on unknown i.
func (n *normal) believe(i int, mean, sd float64) {
	n.sums[i*n.size+i] += 1 / (sd * sd)
	n.right[i] += mean / (sd * sd)
}

// add takes an observation y of Σ h·x with weight c; at gives the unknowns of h, in rising order.
func (n *normal) add(c float64, at []int, h []float64, y float64) {
	for r := range at {
		for s := r; s < len(at); s++ {
			n.sums[at[r]*n.size+at[s]] += c * h[r] * h[s]
		}
		n.right[at[r]] += c * h[r] * y
	}
}

// solve gives x = A⁻¹a; false where A is not positive definite.
func (n *normal) solve() ([]float64, bool) {
	if !n.chol.Factorize(n.A) {
		return nil, false
	}
	if err := n.chol.SolveVecTo(n.x, n.a); err != nil {
		return nil, false
	}
	return n.x.RawVector().Data, true
}

// inverse gives V = A⁻¹ of the last solve.
func (n *normal) inverse() (*mat.SymDense, bool) {
	v := mat.NewSymDense(n.size, nil)
	return v, n.chol.InverseTo(v) == nil
}
