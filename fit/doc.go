// Package fit is nonlinear least squares and dose-response analysis with
// intervals that tell the truth. It knows numbers and names, nothing of what
// they stand for.
//
// # Least squares in one page
//
// A Problem is residuals r(p) and their Jacobian; Solve minimizes Σ r². The
// method is a trust-region Gauss-Newton iteration [1] on a pivoted QR
// factorization of the Jacobian, never on JᵀJ, scaled by column norms, with
// bounds by an active set. Near the minimum it takes undamped Gauss-Newton
// steps with the last triangle and compensated sums [2] for Jᵀr, accelerated
// by Broyden's update [3], until the estimated error of the parameters is below
// Options.Tol or rounding error rules. A run that ends in a flat place is
// repeated with smaller first steps. All 27 NIST StRD problems [4] come out to
// 10 digits from both starts with default settings, without derivatives to 9
// (go test ./fit -run StRD -v prints the table).
//
// # Regression
//
// Regress fits a Model to Observations. Weights are types: Equal, KnownSD,
// Relative, or a VarianceFunction of several causes of scatter, estimated by
// REML [5] in turn with the fit. Sigmoid is the curve of one dose, MultiFactor
// that of several settings and groups; both start themselves. The unit curves
// are LogLogistic, Weibull1, Weibull2, LogNormal, FirstOrder, OrderM and
// Richards. Func and Linear take any other model. Derivatives that a Func lacks are
// differences extrapolated [7] from steps that suit the function, with an estimate of
// their error; those that it has are compared with its values at the solution.
//
// A Result has estimates, Covariance s²(JᵀWJ)⁻¹ (as NIST prints) and
// ObservedCovariance (inverse observed information, as some dose-response
// programs print; they differ by the curvature). With a robust loss (Huber,
// Tukey) W is that of the scatter alone, and s² is K²[Σψ²/(n−p)]/[mean ψ']² [6];
// the weights ψ/u, which follow the estimate, would make it too small. All
// intervals and bands, refits and bootstraps of a robust fit rest on it: they
// are of the least-squares fit to the pseudo-observations fitted + ψ/mean ψ',
// which has this covariance. And:
//
//   - Wald, Profile, Delta, ProfileDerived: intervals of parameters and of
//     derived quantities such as EffectiveDose; open sides say so;
//   - ConfidenceBand (where the curve is) and PredictionBand (where new
//     observations fall), never to be confused;
//   - Inverse: the doses that agree with a response, as a segment, a half line,
//     two half lines, the whole line or nowhere;
//   - LackOfFit, AICc, AkaikeWeights, LeaveOneOut, LeaveGroupOut, Influences,
//     GroupInfluences, Outliers; Bootstrap by model, cases or groups.
//
// Parameters that the data cannot tell apart are named in the error or warning
// ("strength and ratio moved together in these data"). coverage.md tells how
// often the intervals hold the truth and where Wald fails.
//
// Around it: NestedVariance and NewOneWay, Exchange and DesignWeights for D-, c-
// and I-optimal designs, tolerance factors, control chart constants, EWMA,
// Grubbs.
//
// # References
//
// [1] J.J. Moré, Lecture Notes in Mathematics 630 (1978) 105.
// [2] T. Ogita, S.M. Rump, S. Oishi, SIAM J. Sci. Comput. 26 (2005) 1955.
// [3] C.G. Broyden, Math. Comp. 19 (1965) 577.
// [4] NIST Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd.
// [5] H.D. Patterson, R. Thompson, Biometrika 58 (1971) 545.
// [6] P.J. Huber, Robust Statistics (1981), section 7.6.
// [7] L.F. Richardson, Phil. Trans. R. Soc. A 210 (1911) 307.
package fit
