package edit

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"
)

func doc(t *testing.T, src string) *Doc {
	t.Helper()
	d, err := New([]byte(src))
	require.NoError(t, err)
	return d
}

const small = `# The farm.
[farm]
timezone = "Europe/Rome"   # check: this computer's zone

# The pipe.
[loop]
length_m = 100   # check: placeholder; all branches together
bore_mm = 26   # check: placeholder
# wall_mm = 3
# pipe = "PE"

# yard.csv: 40 rows
[[log]]
files = ["yard-1.csv"] # the yard
# check: reads as dmy or mdy; assumed: dmy
# dates = "dmy"   # or "mdy"

[log.columns]
"Out \"x\"" = "loop_out_temp"   # check: named so
# "Foo" = "…"   # nothing says
`

func TestSetInPlaceAndNew(t *testing.T) {
	d := doc(t, small)
	require.NoError(t, d.Set("loop", "length_m", Number(120.5)))
	require.NoError(t, d.Set("loop", "wall_mm", Number(3.2)))
	require.NoError(t, d.Set("loop", "bore_mm", Number(26)))
	require.NoError(t, d.Set("log[0]", "dates", Text("mdy")))
	require.NoError(t, d.Set("wash", "target_c", Number(60)))
	require.NoError(t, d.SetColumn(0, `Out  "x"`, Text("loop_in_temp@barn")))
	require.NoError(t, d.SetColumn(0, "Foo", Table(Pair{"quantity", Text("loop_flow")}, Pair{"unit", Text("L/h")})))
	require.NoError(t, d.AddFile(0, "yard-2.csv"))
	require.NoError(t, d.AddFile(0, "yard-2.csv"))
	n, err := d.Add("event", Pair{"at", Text("2026-01-05")}, Pair{"what", Text("bedded")})
	require.NoError(t, err)
	require.Equal(t, 0, n)
	_, err = d.Add("event", Pair{"at", Text("2026-01-06")}, Pair{"what", Text("turned")})
	require.NoError(t, err)
	require.Equal(t, `# The farm.
[farm]
timezone = "Europe/Rome"   # check: this computer's zone

# The pipe.
[loop]
length_m = 120.5   # all branches together
bore_mm = 26
# wall_mm = 3
wall_mm = 3.2
# pipe = "PE"

[wash]
target_c = 60

[[event]]
at = "2026-01-05"
what = "bedded"

[[event]]
at = "2026-01-06"
what = "turned"

# yard.csv: 40 rows
[[log]]
files = ["yard-1.csv", "yard-2.csv"] # the yard
# reads as dmy or mdy; assumed: dmy
# dates = "dmy"   # or "mdy"
dates = "mdy"

[log.columns]
"Out \"x\"" = "loop_in_temp@barn"   # named so
# "Foo" = "…"   # nothing says
Foo = { quantity = "loop_flow", unit = "L/h" }
`, string(d.Bytes()))
	f, faults := d.Farm()
	require.Empty(t, faults)
	require.Equal(t, "loop_flow", f.Logs[0].Columns[1].Quantity)
	require.Equal(t, []Mark{{"farm", "timezone", "this computer's zone"}}, d.Marks())
}

func TestSameIsANoOp(t *testing.T) {
	src := strings.ReplaceAll("[loop]\nlength_m=  100.0 # m\nbore_mm = 2_6\n[errors]\ninstead.efficiency = \"0.04\"\n", "\n", "\r\n")
	d := doc(t, src)
	require.NoError(t, d.Set("loop", "length_m", Number(100)))
	require.NoError(t, d.Set("loop", "bore_mm", Number(26)))
	require.NoError(t, d.Set("errors.instead", "efficiency", Text("0.04")))
	require.NoError(t, d.Unset("loop", "wall_mm"))
	require.NoError(t, d.Unset("tank[0]", "wall_mm"))
	require.Equal(t, src, string(d.Bytes()))
	require.NoError(t, d.Set("loop", "wall_mm", Number(3)))
	require.Equal(t, strings.Replace(src, "2_6\r\n", "2_6\r\nwall_mm = 3\r\n", 1), string(d.Bytes()))
}

func TestFullFarmFile(t *testing.T) {
	src, err := os.ReadFile("../testdata/full.toml")
	require.NoError(t, err)
	d := doc(t, string(src))
	require.NoError(t, d.Set("electricity.rate[1]", "price_per_kwh", Number(0.18)))
	require.NoError(t, d.Set("tank[1].layers", "top", Number(0.9)))
	require.NoError(t, d.Set("loop.fluid", "propylene_glycol_pct", Number(25)))
	require.NoError(t, d.Unset("loop", "draw_l"))
	require.NoError(t, d.Remove("event[1]"))
	require.NoError(t, d.Remove("electricity.rate[0]"))
	f, faults := d.Farm()
	require.Empty(t, faults, string(d.Bytes()))
	require.Equal(t, 0.18, f.Electricity.Rates[0].PricePerKWh)
	require.Len(t, f.Events, 1)
	require.Equal(t, 0.9, f.Tanks[1].Layers["top"])
	require.Equal(t, 25.0, f.Loop.GlycolPct)
}

// Headers may hold whatever an export put there.
func TestHostileHeaders(t *testing.T) {
	for _, h := range []string{`a"b`, `\`, `a\"`, "bell\x07", "del\x7f", "c1\u0085", "right\u202eleft", "مرحبا", "a.b", "a = b", "# no comment", "[x]", "'", `"""`, "null\x00", "zero\u200bwidth", "🐄", "=1+1", "é", ""} {
		d := doc(t, small)
		require.NoError(t, d.SetColumn(0, h, Text("bed_temp")), "%q", h)
		require.Equal(t, "bed_temp", d.Column(0, h), "%q", h)
		require.NotContains(t, string(d.Bytes()), "\u202e")
		if h != "" && h != "null\x00" { // an empty header is refused by the farm's reader, in its own words
			_, faults := d.Farm()
			require.Empty(t, faults, "%q", h)
		}
		require.NoError(t, d.UnsetColumn(0, h))
		require.Equal(t, small, string(d.Bytes()), "%q", h)
	}
	require.Error(t, doc(t, small).SetColumn(0, "not\xffUnicode", Text("bed_temp")))
	require.Error(t, doc(t, small).SetColumn(1, "x", Text("bed_temp")))
}

func TestOddForms(t *testing.T) {
	for _, c := range []struct{ src, table, key, want string }{
		{"loop.length_m = 5 # m\n", "loop", "bore_mm", "loop.length_m = 5 # m\nloop.bore_mm = 7\n"},
		{"loop = { length_m = 5 }", "loop", "bore_mm", "loop = { length_m = 5, bore_mm = 7 }"},
		{"loop = {}", "loop", "bore_mm", "loop = { bore_mm = 7 }"},
		{"", "loop", "bore_mm", "[loop]\nbore_mm = 7\n"},
		{"# only", "loop", "bore_mm", "# only\n\n[loop]\nbore_mm = 7\n"},
		{"\ufeff[loop]", "loop", "bore_mm", "\ufeff[loop]\nbore_mm = 7\n"},
		{"[[electricity.rate]]\nx = 1\n", "electricity", "p", "[electricity]\np = 7\n\n[[electricity.rate]]\nx = 1\n"},
		{"[loop]\r  length_m = 1\r", "loop", "bore_mm", "[loop]\r  length_m = 1\r  bore_mm = 7\r"},
		{"[[log]]\nx=1\n[farm]\ny=1\n", "log[0].columns", "h", "[[log]]\nx=1\n\n[log.columns]\nh = 7\n\n[farm]\ny=1\n"},
		{"[[log]]\ncolumns.a = 1\nx = 2\n", "log[0].columns", "h", "[[log]]\ncolumns.a = 1\ncolumns.h = 7\nx = 2\n"},
		{"log = [{ x = 1 }]\n", "log[0].columns", "h", "log = [{ x = 1, columns.h = 7 }]\n"},
		{"[[log]]\n[log.columns.a]\nq = 1\n", "log[0].columns", "h", "[[log]]\n[log.columns]\nh = 7\n\n[log.columns.a]\nq = 1\n"},
		{"[[log]]\n[log.columns.h]\nq = 1\n", "log[0].columns", "h", "[[log]]\n\n[log.columns]\nh = 7\n"},
		{"[a]\nx = [\n 1, # one\n]\n[loop]\n", "a", "y", "[a]\nx = [\n 1, # one\n]\ny = 7\n[loop]\n"},
	} {
		d := doc(t, c.src)
		require.NoError(t, d.Set(c.table, c.key, Number(7)), c.src)
		require.Equal(t, c.want, string(d.Bytes()), c.src)
	}
}

func TestListsKeepTheirForm(t *testing.T) {
	for _, c := range [][2]string{
		{`files = "a.csv" # one`, `files = ["a.csv", "n.csv"] # one`},
		{`files = []`, `files = ["n.csv"]`},
		{`files = ["a.csv" , ]`, `files = ["a.csv" , "n.csv" ]`},
		{"files = [\n  \"a.csv\", # first\n  'b.csv' # second\n  # more to come\n]", "files = [\n  \"a.csv\", # first\n  'b.csv', # second\n  # more to come\n  \"n.csv\",\n]"},
		{"files = [\"a\",\n \"b\"]", "files = [\"a\",\n \"b\", \"n.csv\"]"},
	} {
		d := doc(t, "[[log]]\n"+c[0]+"\n")
		require.NoError(t, d.AddFile(0, "n.csv"))
		require.Equal(t, "[[log]]\n"+c[1]+"\n", string(d.Bytes()))
	}
}

func TestAppendLogAndTables(t *testing.T) {
	block := "# new.csv\n[[log]]\nfiles = [\"new.csv\"] # check\n\n[log.columns]\na = \"bed_temp\"\n"
	for _, src := range []string{small, strings.ReplaceAll(small, "\n", "\r\n"), "[log]\nfiles = \"a\"\n[log.columns]\nx = \"bed_temp\"\n", "log = [{ files = \"a\" }]\n", "[farm]\n"} {
		d := doc(t, src)
		had := d.Len("log")
		n, err := d.AppendLog([]byte(block))
		require.NoError(t, err, src)
		require.Equal(t, had, n)
		require.Equal(t, []string{"new.csv"}, d.Files(n), string(d.Bytes()))
		require.Equal(t, "bed_temp", d.Column(n, "a"))
	}
	_, err := doc(t, small).AppendLog([]byte(block + "[farm]\nname=\"x\"\n"))
	require.Error(t, err)
	d := doc(t, "[tank]\nvolume_l = 1 # [x]\n[tank.layers]\ntop = 1\n")
	n, err := d.Add("tank", Pair{"volume_l", Number(2)})
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, "[[tank]]\nvolume_l = 1 # [x]\n[tank.layers]\ntop = 1\n\n[[tank]]\nvolume_l = 2\n", string(d.Bytes()))
}

func TestBrokenAndWide(t *testing.T) {
	_, err := New([]byte("[loop\nx = 1"))
	var broken *Broken
	require.ErrorAs(t, err, &broken)
	require.NotEmpty(t, broken.Faults)
	_, err = New([]byte("x = 1\nx = 2\n"))
	require.ErrorAs(t, err, &broken)
	wide, err := utf16le.NewEncoder().Bytes([]byte("[farm]\r\nname = \"Höf\"\r\n"))
	require.NoError(t, err)
	d, err := New(wide)
	require.NoError(t, err)
	require.Equal(t, wide, d.Bytes())
	require.NoError(t, d.Set("farm", "name", Text("Hof")))
	again, err := utf16le.NewDecoder().Bytes(d.Bytes())
	require.NoError(t, err)
	require.Equal(t, "[farm]\r\nname = \"Hof\"\r\n", string(again))
	_, err = Raw("1 # x")
	require.Error(t, err)
	_, err = Raw("1\ny = 2")
	require.Error(t, err)
	v, err := Raw("2026-01-05T09:30:00")
	require.NoError(t, err)
	require.Equal(t, "2026-01-05T09:30:00", v.String())
}

// drawn writes an invented document in one of many forms.
func drawn(r *rand.Rand) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	comment := func() string { return pick("", "", "  # a note", " # check: guess; see \"x\" = 1", "\t# [no.header]") }
	key := func(i int) string {
		return pick(fmt.Sprintf("k%d", i), fmt.Sprintf("%q", fmt.Sprintf("k %d.#=", i)), fmt.Sprintf("'k\\%d'", i))
	}
	var value func(depth int) string
	value = func(depth int) string {
		if depth < 2 && r.IntN(4) == 0 {
			return pick("{}", "[]", "{ a = "+value(depth+1)+", b.c = "+value(depth+1)+" }", "["+value(depth+1)+", "+value(depth+1)+",]", "[\n  "+value(depth+1)+", # one\n  # two [x]\n  "+value(depth+1)+"\n ]")
		}
		return pick("1", "26.50", "1_000", "true", `"text # no comment"`, `'lit\'`, "\"\"\"\nlong = 1\n[no.header]\n\\\"\"\"\" \"\"\"", "'''a\n# b\n'''", "2026-01-05", "2026-01-05 09:30:00", "05:20:00", "0xff", "nan", `"\u0041\\"`)
	}
	var b strings.Builder
	body := func() {
		for i := range r.IntN(4) {
			if r.IntN(5) == 0 {
				b.WriteString(pick("\n", "# alone\n", "  # k9 = 1\n", "\n\n"))
			}
			b.WriteString(pick("", "", "  ", "\t") + key(i) + pick(" = ", "=", "  =\t") + value(0) + comment() + "\n")
		}
		if r.IntN(3) == 0 {
			fmt.Fprintf(&b, "dot.%s = %s%s\ndot.deep.z = %s\n", key(7), value(0), comment(), value(1))
		}
	}
	body()
	for i, n := range r.Perm(5)[:r.IntN(6)] {
		b.WriteString(pick("", "\n", "\n# above\n", "# close\n"))
		switch n {
		case 0, 1, 2:
			fmt.Fprintf(&b, "[%s]%s\n", pick(fmt.Sprintf("t%d", i), fmt.Sprintf(" %q . sub", fmt.Sprintf("t %d", i))), comment())
			body()
		case 3:
			for range 1 + r.IntN(3) {
				fmt.Fprintf(&b, "[[list]]%s\n", comment())
				body()
				if r.IntN(2) == 0 {
					b.WriteString("\n[list.columns]\n")
					body()
				}
			}
		case 4:
			fmt.Fprintf(&b, "[many.below]\n")
			body()
		}
	}
	out := b.String()
	if r.IntN(4) == 0 {
		out = strings.TrimRight(out, "\n")
	}
	if r.IntN(3) == 0 {
		out = strings.ReplaceAll(out, "\n", "\r\n")
	}
	return out
}

// flat lists every scalar and empty table of a tree by its path.
func flat(v any, path string, out map[string]any) {
	switch v := v.(type) {
	case map[string]any:
		out[path+"{}"] = nil
		for k, x := range v {
			flat(x, path+"/"+k, out)
		}
	case []any:
		out[path+"[]"] = len(v)
		for i, x := range v {
			flat(x, fmt.Sprintf("%s/%d", path, i), out)
		}
	default:
		out[path] = fmt.Sprintf("%T %v", v, v)
	}
}

func read(t *testing.T, src []byte) map[string]any {
	t.Helper()
	tree := map[string]any{}
	require.NoError(t, toml.Unmarshal(bytes.ReplaceAll(src, []byte("\r\n"), []byte("\n")), &tree), string(src))
	out := map[string]any{}
	flat(tree, "", out)
	return out
}

// tables lists the paths of all tables of a tree that Set can name.
func tables(v map[string]any, path string) []string {
	out := []string{path}
	var keys []string
	for k := range v {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		below := strings.TrimPrefix(path+"."+Key(k), ".")
		switch x := v[k].(type) {
		case map[string]any:
			out = append(out, tables(x, below)...)
		case []any:
			for i, it := range x {
				if m, ok := it.(map[string]any); ok {
					out = append(out, tables(m, fmt.Sprintf("%s[%d]", below, i))...)
				}
			}
		}
	}
	return out
}

// comments are the lines that hold nothing else.
func comments(src []byte) []string {
	var out []string
	for _, l := range strings.Split(string(src), "\n") {
		if l = strings.TrimSpace(l); strings.HasPrefix(l, "#") {
			out = append(out, l)
		}
	}
	slices.Sort(out)
	return out
}

// Over many drawn documents: what is set reads so afterwards, every other key
// reads as before, comments on lines of their own all stay, and taking a new key
// out again gives the bytes of before.
func TestOtherKeysReadAsBefore(t *testing.T) {
	n := 4000
	if testing.Short() {
		n = 600
	}
	for seed := range n {
		r := rand.New(rand.NewPCG(uint64(seed), 6))
		src := drawn(r)
		d, err := New([]byte(src))
		if err != nil {
			var broken *Broken
			require.ErrorAs(t, err, &broken, src)
			require.Error(t, toml.Unmarshal([]byte(strings.ReplaceAll(src, "\r\n", "\n")), &map[string]any{}), "refused though it is TOML:\n%s", src)
			continue
		}
		require.Equal(t, src, string(d.Bytes()))
		all := tables(d.tree, "")
		all = append(all, "fresh", "loop", "list[0].columns")
		table := all[r.IntN(len(all))]
		key := []string{"k0", "k1", "k 1.#=", "new", "odd \" key", "k9", "dot"}[r.IntN(7)]
		if table == "list[0].columns" && d.Len("list") == 0 {
			table = "loop"
		}
		before := read(t, d.Bytes())
		_, had := d.Get(table, key)
		require.NoError(t, d.Set(table, key, Text("set")), "seed %d, %s %s\n%s", seed, table, key, src)
		v, _ := d.Get(table, key)
		require.Equal(t, "set", v)
		after := read(t, d.Bytes())
		compare(t, seed, table, key, before, after, src, string(d.Bytes()))
		if !had {
			for _, c := range comments([]byte(src)) {
				require.Contains(t, comments(d.Bytes()), c, "seed %d\n%s\n→\n%s", seed, src, d.Bytes())
			}
			once := d.Bytes()
			require.NoError(t, d.Set(table, key, Text("set")))
			require.Equal(t, once, d.Bytes())
			require.NoError(t, d.Unset(table, key), "seed %d, %s %s\n%s", seed, table, key, once)
			compare(t, seed, table, key, before, read(t, d.Bytes()), src, string(d.Bytes()))
		}
	}
}

// compare holds every key outside the one that was set.
func compare(t *testing.T, seed int, table, key string, before, after map[string]any, src, out string) {
	t.Helper()
	path, err := parsePath(table)
	require.NoError(t, err)
	own := ""
	made := map[string]bool{"{}": true}
	for _, s := range path {
		own += "/" + s.name
		if _, list := before[own+"[]"]; list {
			own += fmt.Sprintf("/%d", max(s.n, 0))
		}
		made[own+"{}"] = true
	}
	own += "/" + key
	skip := func(p string) bool {
		return made[p] || p == own || strings.HasPrefix(p, own+"/") || p == own+"{}" || p == own+"[]"
	}
	for p, v := range before {
		if !skip(p) {
			w, ok := after[p]
			require.True(t, ok && reflect.DeepEqual(v, w), "seed %d, set %s %s: %s was %v, is %v\n%s\n→\n%s", seed, table, key, p, v, w, src, out)
		}
	}
	for p := range after {
		if !skip(p) {
			_, ok := before[p]
			require.True(t, ok, "seed %d, set %s %s: %s is new\n%s\n→\n%s", seed, table, key, p, src, out)
		}
	}
}

// Whatever the text and the key: either a refusal and the bytes of before, or a
// key that reads so.
func FuzzSet(f *testing.F) {
	f.Add(small, "loop", "length_m", "x")
	f.Add("a = { b = 1 }\r\n[c]\n", "a", "q\"", "\u202e")
	f.Add("[[log]]\nfiles=[\n'a' # x\n]\n", "log[0].columns", "#1", "=1")
	f.Fuzz(func(t *testing.T, src, table, key, value string) {
		d, err := New([]byte(src))
		if err != nil {
			return
		}
		before := d.Bytes()
		if !bytes.Equal(before, []byte(src)) {
			t.Fatalf("bytes changed by reading: %q", src)
		}
		if err := d.Set(table, key, Text(value)); err != nil {
			if !bytes.Equal(before, d.Bytes()) {
				t.Fatal("refused, yet changed")
			}
			return
		}
		if v, ok := d.Get(table, key); !ok || v != value {
			t.Fatalf("set %q %q to %q in %q: reads %v", table, key, value, src, v)
		}
		if err := d.Unset(table, key); err != nil {
			t.Fatalf("unset: %v in %q", err, d.Bytes())
		}
		d.AddFile(0, value)
		d.SetColumn(0, key, Text(value))
		d.Marks()
	})
}
