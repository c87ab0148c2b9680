package season

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// slabFarm is a simulated farm whose loop lies in a slab, or in the bed, as the
// loader reads it, with its truth.
func slabFarm(t testing.TB, seed uint64, slab bool) (*ingest.Record, simfarm.Truth) {
	t.Helper()
	farm, err := simfarm.Run(simfarm.WithSlab(seed, slab))
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	return rec, farm.Truth()
}

// A bed with a store is told from one without by the draws left out, and its
// water side and supply come within 10 % (seeds taken as they come; the study
// has the rest).
func TestStoreIsFoundAndTold(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	for seed := uint64(3); seed <= 4; seed++ {
		rec, truth := slabFarm(t, seed, true)
		s := compute(t, rec, nil)
		require.Equal(t, "store", s.Loop.Model)
		require.True(t, s.Loop.Identified, s.Loop.Why)
		ua, supply, slab, steady := find(t, s.Loop.Figures, "ua_w_per_k"), find(t, s.Loop.Figures, "supply_w_per_k"),
			find(t, s.Loop.Figures, "slab_kj_per_k"), find(t, s.Loop.Figures, "steady_w_per_k")
		t.Logf("UA %.0f: %s; supply %.0f: %s; slab %.0f: %s; lasting %s", truth.UAWPerK, ua.Shown, truth.SupplyWPerK, supply.Shown, truth.SlabKJPerK, slab.Shown, steady.Shown)
		require.InDelta(t, 1, ua.Value/truth.UAWPerK, 0.1)
		require.InDelta(t, 1, supply.Value/truth.SupplyWPerK, 0.1)
		require.InDelta(t, 1, slab.Value/truth.SlabKJPerK, 0.15)
		require.InDelta(t, 1, steady.Value*(1/ua.Value+1/supply.Value), 1e-6)
		for _, f := range []Figure{ua, supply, slab, steady} {
			require.True(t, f.Low < f.Value && f.Value < f.High, "%+v", f)
		}
		for _, d := range s.Pictures.TypicalDraws {
			requireNear(t, d)
		}
	}
}

// requireNear: the drawn model is that of the store, near the readings.
func requireNear(t *testing.T, d DrawTrace) {
	t.Helper()
	sum, n := 0.0, 0.0
	for i, v := range d.ModelC {
		if e := v - d.OutC[i]; !math.IsNaN(e) && d.LMin[i] > 1 {
			sum, n = sum+e*e, n+1
		}
	}
	require.Greater(t, n, 5.0)
	require.Less(t, math.Sqrt(sum/n), 2.5, d.Title) // the first minute and the front included
}

// Without a store none is seen: the uniform bed stands, what lasts is UA, and
// the report says why there is no supply.
func TestNoStoreWhereThereIsNone(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	rec, truth := slabFarm(t, 3, false)
	s := compute(t, rec, nil)
	require.Equal(t, "uniform", s.Loop.Model)
	require.InDelta(t, 1, find(t, s.Loop.Figures, "ua_w_per_k").Value/truth.UAWPerK, 0.1)
	require.Equal(t, find(t, s.Loop.Figures, "ua_w_per_k").Value, find(t, s.Loop.Figures, "steady_w_per_k").Value)
	for _, key := range []string{"supply_w_per_k", "slab_kj_per_k"} {
		f := find(t, s.Loop.Figures, key)
		require.True(t, math.IsNaN(f.Value), key)
		require.Contains(t, f.Why, "bed with a store")
	}
	// The store leaves all that is not the loop's alone.
	plain := compute(t, rec, func(o *Options) { o.Store.Skip = true })
	for _, key := range headlineKeys {
		require.Equal(t, find(t, plain.Headline, key), find(t, s.Headline, key), key)
	}
}
