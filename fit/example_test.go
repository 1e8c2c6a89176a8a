package fit_test

import (
	"fmt"
	"math"

	"example.com/dosetone/fit"
)

func ExampleRegress() {
	dose := []float64{0, 0, 1, 1, 2, 2, 4, 4, 8, 8, 20, 20}
	level := []float64{80.4, 79.1, 76.2, 77.5, 68.9, 67.8, 50.7, 49.2, 31.6, 32.9, 22.3, 21.8}
	var data []fit.Observation
	for i, x := range dose {
		data = append(data, fit.Observation{X: []float64{x}, Y: level[i]})
	}
	curve := fit.Sigmoid{Curve: fit.LogLogistic{}}
	r, err := fit.Regress(curve, data, fit.Equal{}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	loc, err := r.Profile(fit.Location, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("half effect at dose %.1f (%.1f to %.1f)\n", r.Value("location"), loc.Lo, loc.Hi)
	inv := fit.Inverse{Result: r, Lo: 0.1, Hi: 50}
	where, err := inv.Band(fit.Target{Y: 60}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("a mean of 60 needs a dose between %.2f and %.2f\n", where.Lo, where.Hi)
	// Output:
	// half effect at dose 4.0 (3.8 to 4.3)
	// a mean of 60 needs a dose between 2.75 and 2.97
}

// Where the curve is, and where new observations will be. Of a straight line both have a
// closed form at the middle of the data: t·s/√n, and t·s·√(1 + 1/n) for one more.
func ExampleResult_ConfidenceBand() {
	var data []fit.Observation
	for i, y := range []float64{2.1, 3.9, 6.2, 7.8, 10.1} {
		data = append(data, fit.Observation{X: []float64{float64(i + 1)}, Y: y})
	}
	line, err := fit.Regress(fit.Polynomial(1), data, nil, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	middle := []float64{3}
	curve, err := line.ConfidenceBand(middle, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	next, err := line.PredictionBand(middle, 1, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	const t = 3.182446 // Student's t, 0.975, 3 degrees of freedom
	half := func(i fit.Interval) float64 { return (i.Hi - i.Lo) / 2 }
	fmt.Printf("curve: %.5f of t·s/√n\n", half(curve)/(t*line.SD/math.Sqrt(5)))
	fmt.Printf("next observation: %.5f of t·s·√(1+1/n)\n", half(next)/(t*line.SD*math.Sqrt(1.2)))
	x, err := fit.Inverse{Result: line, Lo: 0, Hi: 10}.Estimate(7)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("7 is met at (7-a)/b: %t\n", math.Abs(x-(7-line.P[0])/line.P[1]) < 1e-9)
	// Output:
	// curve: 1.00000 of t·s/√n
	// next observation: 1.00000 of t·s·√(1+1/n)
	// 7 is met at (7-a)/b: true
}

func ExampleExchange() {
	m := fit.Sigmoid{Curve: fit.LogLogistic{}}
	guess := []float64{80, 20, 2, 5} // zero, infinite, slope, location
	doses := [][]float64{{0}, {1}, {2}, {3}, {5}, {8}, {12}, {20}, {50}}
	cand, err := fit.Candidates(m, [][]float64{guess}, doses, nil, nil)
	if err != nil {
		panic(err)
	}
	d, err := fit.Exchange(fit.D{}, cand, nil, 8)
	if err != nil {
		panic(err)
	}
	for _, k := range d.Points {
		fmt.Print(doses[k][0], " ")
	}
	// Output: 0 0 3 3 8 8 50 50
}
