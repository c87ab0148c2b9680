// Package study holds the analysis against the truth of many random simulated
// farms. It is tests only: what it knows of the truth no part of the analysis
// may know.
//
//	go test -run Coverage -tags study -timeout 5h ./analysis/study -farms 1000
//
// draws the farms (simfarm.RunStudy), puts each through the whole analysis as
// files, and writes testdata/study/coverage.md: how often the 95 % intervals
// hold the bare truth, how wide they are against linear propagation, how far
// the figures lie from the truth seen through the drawn errors, which UA are
// called identified against what the Cramér-Rao bound allows, and how good the
// lower bounds are where they are not. With -chunks DIR the farms' results are
// kept there in pieces, and a run that was stopped goes on with the next piece.
// TestSlowLogs does the same for one farm logged at 10 s to 15 min.
// TestClaims claims 0.8, 1 and 1.6 of the true saving of random farms, and counts
// the verdicts (testdata/study/claim.md). All
// state what they find, goals missed included, and fail on nothing but a farm
// that can't be analysed; the small test of the ordinary suite has limits.
package study
