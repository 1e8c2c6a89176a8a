package colorimetry

import (
	"runtime"
	"sync"
)

// Parallel splits 0..n into contiguous parts and calls work(lo, hi) for each on
// its own goroutine, at most workers of them (0 or less means one per
// processor). It returns when all are done; with n of 0 or less it calls
// nothing. All bulk functions of this package take slices, so a part is a pair
// of subslices:
//
//	colorimetry.Parallel(len(dst), 0, func(lo, hi int) {
//		f.DiffPairs(dst[lo:hi], refs[lo:hi], samples[lo:hi])
//	})
//
// The results do not depend on the number of workers. A panic in work is one of
// the caller's goroutine, raised when all parts have ended, so that the caller
// may recover; of several it is that of the first part. The stack shown is then
// the caller's.
func Parallel(n, workers int, work func(lo, hi int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	workers = min(workers, n)
	if workers <= 1 {
		if n > 0 {
			work(0, n)
		}
		return
	}
	var wg sync.WaitGroup
	panics := make([]any, workers)
	for i := range workers {
		wg.Go(func() {
			defer func() { panics[i] = recover() }()
			work(i*n/workers, (i+1)*n/workers)
		})
	}
	wg.Wait()
	for _, v := range panics {
		if v != nil {
			panic(v)
		}
	}
}
