# Peer of BenchmarkFitLogistic: R stats::nls on the same 24 readings. It fails from
# the common start (step factor), so it gets one next to the solution.
# Run by hand: Rscript bench/fit_peers/nls.R
d <- read.csv("datasets/published/dose/ryegrass.csv")
fit <- function() nls(rootl ~ ifelse(conc == 0, zero, zero + (inf - zero) / (1 + exp(-slope * (log(pmax(conc, 1e-300)) - log(loc))))),
  data = d, start = list(zero = 8, inf = 0.5, slope = 3, loc = 3), control = nls.control(tol = 1e-8))
best <- Inf
for (r in 1:20) {
  t <- system.time(for (i in 1:50) m <- fit())
  best <- min(best, (t[["user.self"]] + t[["sys.self"]]) / 50)
}
cat(sprintf("R %s nls: %.0f us/fit  %s\n", getRversion(), best * 1e6, paste(format(coef(m), digits = 15), collapse = " ")))
