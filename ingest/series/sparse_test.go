package series

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Both sparse forms against plain slices, over drawn runs and flags.
func TestSparseFormsHoldWhatPlainSlicesHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for range 200 {
		var flags Flags
		var origins, joined Origins
		var plainF []Flag
		var plainO []Origin
		line := int32(rng.IntN(50))
		for range rng.IntN(2000) {
			f := Flag(0)
			if rng.IntN(40) == 0 {
				f = 1 << rng.IntN(8)
			}
			switch rng.IntN(30) {
			case 0:
				line += int32(rng.IntN(9)) + 2
			case 1:
				line = max(1, line-int32(rng.IntN(30)))
			default:
				line++
			}
			o := Origin{File: int32(rng.IntN(1000) / 999), Line: line}
			flags.Append(f)
			origins.Append(o)
			plainF, plainO = append(plainF, f), append(plainO, o)
		}
		joined.AppendRun(Origin{File: 3, Line: 9}, 4)
		joined.AppendAll(&origins)
		next := 0
		for i, f := range flags.All() {
			for ; next < i; next++ {
				require.Zero(t, plainF[next], "reading %d passed over", next)
			}
			require.NotZero(t, f)
			require.Equal(t, plainF[i], f)
			next++
		}
		for ; next < len(plainF); next++ {
			require.Zero(t, plainF[next], "reading %d passed over", next)
		}
		for range 20 {
			lo := rng.IntN(len(plainF) + 1)
			hi := lo + rng.IntN(len(plainF)+1-lo)
			want := lo
			for want < hi && plainF[want] == 0 {
				want++
			}
			require.Equal(t, want, flags.Until(lo, hi))
		}
		set, absent := 0, 0
		for i, f := range plainF {
			require.Equal(t, f, flags.At(i))
			require.Equal(t, plainO[i], origins.At(i))
			require.Equal(t, plainO[i], joined.At(i+4))
			require.Equal(t, f == 0, flags.Clean(i, i+1))
			if f != 0 {
				set++
			}
			if f&Absent != 0 {
				absent++
			}
		}
		require.Equal(t, []int{len(plainF), set, absent}, []int{flags.Len(), flags.Set(), flags.Absent()})
		require.Equal(t, set == 0, flags.Clean(0, flags.Len()))
		require.Equal(t, Origin{File: 3, Line: 12}, joined.At(3))
		require.Equal(t, len(plainF)+4, joined.Len())
		require.Equal(t, len(plainF), len(flags.List()))
	}
}

func TestFlagsOfSetOnceCountOnce(t *testing.T) {
	f := NewFlags(600)
	f.Or(599, Spike)
	f.Or(599, Range|Absent)
	f.Or(599, Absent)
	require.Equal(t, Spike|Range|Absent, f.At(599))
	require.Equal(t, 1, f.Set())
	require.Equal(t, 1, f.Absent())
	require.True(t, f.Clean(0, 599))
	require.False(t, f.Clean(300, 600))
}

// A part of the places reads as the places one by one do, over the ends of runs;
// padding adds readings without a flag.
func TestPartsAndPadding(t *testing.T) {
	var o Origins
	for _, x := range []Origin{{0, 5}, {0, 6}, {0, 9}, {1, 4}, {1, 3}, {1, 2}, {2, 7}} {
		o.Append(x)
	}
	for lo := range o.Len() + 1 {
		for hi := lo; hi <= o.Len(); hi++ {
			var part Origins
			part.Append(Origin{9, 9})
			part.AppendPart(&o, lo, hi)
			if part.Len() != 1+hi-lo {
				t.Fatalf("%d to %d: %d places", lo, hi, part.Len()-1)
			}
			for i := lo; i < hi; i++ {
				if got := part.At(1 + i - lo); got != o.At(i) {
					t.Errorf("%d of %d to %d: %v, want %v", i, lo, hi, got, o.At(i))
				}
			}
		}
	}
	f := FlagsOf(0, Spike)
	f.Pad(300)
	f.Append(Stuck)
	if f.Len() != 303 || f.Set() != 2 || f.At(1) != Spike || f.At(150) != 0 || f.At(302) != Stuck {
		t.Errorf("%d flags, %d set", f.Len(), f.Set())
	}
}
