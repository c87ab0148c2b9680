// Package simfarm makes farms up: it simulates a yard loop, a milk-cooling
// plant, a hot tank and the washes, and writes the farm folder that such a
// farm would leave, with the faults of real loggers. All of it is invented.
// Because everything is known beforehand, the fits and sums of analysis can be
// held against the truth; the sample farm of `yardheat demo` is one of these.
// A leaf: it imports nothing of ours, and its physics is its own, so that an
// error in analysis can't hide here.
//
// Flow: Scenario (what is wanted) → Run (errors drawn, days planned, 10 s
// steps simulated) → Farm → Write (farm.toml and logs), Truth, Seen,
// LinearWidths.
//
// # The physics
//
// Water is IAPWS-IF97 region 1 at 0.3 MPa, tabled every quarter degree and
// interpolated linearly (density within 1e-6, enthalpy within 2e-4 kJ/kg).
//
// The loop is a row of cells between its two probes: a little unburied pipe,
// the buried part, unburied lead pipe. Water moves by whole cells of equal
// mass, so that no front is blurred by the scheme; a wanted axial mixing is
// then added per move (front width sqrt(2 m/N) of the loop's volume, standard
// deviation). Each cell's water and pipe wall have temperatures of their own:
// a film conductance between them (Gnielinski while it flows, a constant lower
// one while it stands), and one from wall to bed. Both relax together exactly
// (matrix exponential). Unburied cells relax to the air.
//
// Truth's ua_w_per_k is the water-side steady coefficient while flowing, film,
// wall and bed in series,
//
//	UA = 1/(1/F(q) + 1/G),
//
// F the film conductance at flow q and G that from wall to bed, W/K for the
// whole buried length, averaged over the litres of the season. The bed's
// temperature at the pipe is its own with slow drift, daily swing, events and
// a depletion fed by the heat taken; the bed probe stands elsewhere: it has a
// constant offset and sees only part of the depletion.
//
// Where the loop lies in a slab (Slab, WithSlab), each buried cell has a third
// temperature, the slab's, between wall and bed; the three relax together by
// their matrix exponential, by scaling and squaring. UA is then the water's side,
// film, wall and slab; Seen has no UA for such a farm.
//
// The tank has two nodes of equal mass that hold enthalpy, so that what goes
// in and out by the meters' definition Q = V rho (h_hot - h_cold) closes.
//
// # Three answers
//
// Truth is bare: what happened. Seen is what an exact method would report that
// has only the drawn sensor errors and the farm file's stipulated figures to
// go by: no noise, no lag, no gaps, no bad readings. Sums are recomputed with
// readings that carry their errors. UA is fitted: our own cell model, driven by
// inlet, flow and bed with their errors, to the outlet with its error, over a
// stretch of draws; free are ln UA, the bed offset, the ratio of thermal volume
// (with the prior that flow meter and pipe leave) and the front's mixing. A
// difference between Seen and a report is the method's; between Seen and Truth
// the sensors'. LinearWidths is the width 2·1.96·u of each headline figure by
// linear propagation (JCGM 100) of the errors the farm file states.
//
// Conventions: seconds (Unix, true time), litres, degC, kW, kJ, kWh; heat into
// the water positive; an error is reading minus truth (or that over truth).
package simfarm
