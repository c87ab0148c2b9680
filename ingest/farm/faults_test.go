package farm

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// faultCases: one fault each. Where a source does not begin with "[farm]" the
// small farm file (5 lines) stands before it. where is the whole Where; words
// must stand in Got, Want or Do.
var faultCases = []struct{ name, src, where, words string }{
	{"no logs", "[farm]\ntimezone = \"UTC\"", "key log", "[[log]]"},
	{"no zone", "[farm]\nname = \"x\"\n[[log]]\nfiles=\"a.csv\"", "line 1, farm.timezone", "nothing|Europe/Rome"},
	{"zone misspelt", "[farm]\ntimezone = \"Europe/Roma\"\n[[log]]\nfiles=\"a.csv\"", "line 2, farm.timezone", "Europe/Roma|did you mean \"Europe/Rome\"?"},
	{"zone by its city", "[farm]\ntimezone = \"Los Angeles\"\n[[log]]\nfiles=\"a.csv\"", "line 2, farm.timezone", "did you mean \"America/Los_Angeles\"?"},
	{"zone abbreviated", "[farm]\ntimezone = \"CEST\"\n[[log]]\nfiles=\"a.csv\"", "line 2, farm.timezone", "several zones"},
	{"zone no text", "[farm]\ntimezone = 1\n[[log]]\nfiles=\"a.csv\"", "line 2, farm.timezone", "quotes"},
	{"unknown key", "[loop]\nlength_m = 5\nbore_mm = 20\nbranchs = 2", "line 9, loop.branchs", "unknown key|did you mean branches?"},
	{"key in capitals", "[loop]\nlength_m = 5\nBore_mm = 20\nbore_mm = 20", "line 8, loop.Bore_mm", "did you mean bore_mm?"},
	{"key of another table", "[electricity]\nefficiency = 1", "line 7, electricity.efficiency", "belongs in [instead]"},
	{"unknown table", "[lop]", "line 6, lop", "did you mean loop?"},
	{"unknown key without a neighbour", "[plate]\nzzzzzzzzzzz = 1", "line 7, plate.zzzzzzzzzzz", "known here: meter_at, flow_l_min"},
	{"key at the top", "colour = 1\n[farm]\ntimezone=\"UTC\"\n[[log]]\nfiles=\"a\"", "line 1, colour", "unknown key"},
	{"missing length", "[loop]\nbore_mm = 20", "line 6, loop.length_m", "nothing|length of pipe"},
	{"length 0", "[loop]\nlength_m = 0\nbore_mm = 20", "line 7, loop.length_m", "above 0|20000 m"},
	{"bore in metres", "[loop]\nlength_m = 5\nbore_mm = 0.026", "line 8, loop.bore_mm", "0.026|from 5 to 200 mm"},
	{"bore as text", "[loop]\nlength_m = 5\nbore_mm = \"26 mm\"", "line 8, loop.bore_mm", "\"26 mm\"|without quotes"},
	{"not a number", "[loop]\nlength_m = nan\nbore_mm = 20", "line 7, loop.length_m", "nan|above 0"},
	{"infinite", "[loop]\nlength_m = inf\nbore_mm = 20", "line 7, loop.length_m", "inf|above 0"},
	{"branches in part", "[loop]\nlength_m = 5\nbore_mm = 20\nbranches = 1.5", "line 9, loop.branches", "whole number"},
	{"yes for true", "[loop]\nlength_m = 5\nbore_mm = 20\napply_gain = \"yes\"", "line 9, loop.apply_gain", "true or false"},
	{"unknown pipe", "[loop]\nlength_m = 5\nbore_mm = 20\npipe = \"pe\"", "line 9, loop.pipe", "did you mean \"PE\"?"},
	{"meter nowhere", "[loop]\nlength_m = 5\nbore_mm = 20\nmeter_at = \"inlet\"", "line 9, loop.meter_at", "\"in\", \"out\""},
	{"unknown fluid", "[loop]\nlength_m = 5\nbore_mm = 20\nfluid = { glycol = 30 }", "line 9, loop.fluid.glycol", "propylene_glycol_pct"},
	{"tank without volume", "[tank]\nname = \"a\"", "line 6, tank.volume_l", "volume in L"},
	{"tanks of one name", "[[tank]]\nname=\"a\"\nvolume_l=1\n[[tank]]\nname=\"a\"\nvolume_l=1", "line 10, tank.name", "a name of its own"},
	{"layer above the top", "[tank]\nvolume_l = 100\nlayers = { top = 1.8 }", "line 8, tank.layers.top", "1.8|from 0 to 1"},
	{"wash in °F", "[wash]\ntarget_c = 170", "line 7, wash.target_c", "from 20 to 100 °C"},
	{"eleven months", "[mains]\ntemp_c = [1,2,3,4,5,6,7,8,9,10,11]", "line 7, mains.temp_c", "11 figures|twelve"},
	{"a cold month", "[mains]\ntemp_c = [1,2,3,4,5,6,7,8,9,10,11,\n-99]", "line 8, mains.temp_c", "-99|from -5 to 40"},
	{"milk too heavy", "[milk]\ndensity_kg_per_l = 1030", "line 7, milk.density_kg_per_l", "from 0.95 to 1.1"},
	{"efficiency in %", "[instead]\nefficiency = 90", "line 7, instead.efficiency", "above 0|at most 5|0.9 for 90 %"},
	{"efficiency missing", "[instead]\ncarrier = \"gas\"", "line 6, instead.efficiency", "nothing"},
	{"price with a comma", "[instead]\nefficiency = 0,9", "line 7", "decimal point"},
	{"price below 0", "[instead]\nefficiency = 1\nprice_per_kwh = -1", "line 8, instead.price_per_kwh", "from 0"},
	{"undated price", "[instead]\nefficiency = 1\nprice_since = [{ price_per_kwh = 1 }]", "line 8, instead.price_since.since", "date"},
	{"rate at 25:00", "[[electricity.rate]]\nfrom = \"25:00\"\nprice_per_kwh = 1", "line 7, electricity.rate.from", "05:20"},
	{"no weekday", "[[electricity.rate]]\ndays = [\"mon\", \"tuesday\"]\nprice_per_kwh = 1", "line 7, electricity.rate.days", "\"tuesday\"|mon-fri"},
	{"times without a dash", "[milkings]\ntimes = [\"05:20\"]", "line 7, milkings.times", "05:20-07:05"},
	{"times and file", "[milkings]\ntimes = [\"05:20-07:05\"]\nfile = \"m.csv\"\ncolumns = { start = \"s\" }", "line 7, milkings.times", "either"},
	{"milkings without start", "[milkings]\nfile = \"m.csv\"\ncolumns = { end = \"e\" }", "line 8, milkings.columns.start", "header"},
	{"one header twice", "[milkings]\nfile = \"m.csv\"\ncolumns = { start = \"s\", end = \"s\" }", "line 8, milkings.columns.end", "header of its own"},
	{"milk per week", "[milkings]\nmilk_is = \"week\"", "line 7, milkings.milk_is", "\"collection\""},
	{"season back to front", "[[season]]\nfrom = 2026-03-01\nto = 2026-02-01", "line 8, season.to", "not before from"},
	{"season kind", "[[season]]\nkind = \"off\"", "line 7, season.kind", "recovery_off"},
	{"date in another order", "[[event]]\nat = \"03.02.2026\"\nwhat = \"bedded\"", "line 7, event.at", "2026-02-03 10:00"},
	{"no such day", "[[event]]\nat = 2026-02-30\nwhat = \"bedded\"", "line 7, event.at", "2026-02-30"},
	{"event of nothing", "[[event]]\nat = 2026-02-03", "line 6, event.what", "what happened"},
	{"percentage of a temperature", "[errors]\nloop_out_temp = \"2 %\"", "line 7, errors.\"loop_out_temp\"", "0.5 K|state it in K"},
	{"error without unit", "[errors]\nloop_out_temp = \"0.5\"", "line 7, errors.\"loop_out_temp\"", "add the unit"},
	{"error of a wrong unit", "[errors]\nloop_flow = \"0.5 K\"", "line 7, errors.\"loop_flow\"", "L/min"},
	{"error below 0", "[errors]\nloop_flow = \"-5 %\"", "line 7, errors.\"loop_flow\"", "0 or more"},
	{"error of an unknown quantity", "[errors]\nloop_out = \"0.5 K\"", "line 7, errors.\"loop_out\"", "did you mean \"loop_out_temp\"?|farm-file key"},
	{"error of a misspelt key", "[errors]\n\"loop.draw\" = \"5 %\"", "line 7, errors.\"loop.draw\"", "did you mean \"loop.draw_l\"?"},
	{"error of a state", "[errors]\nelement_on = \"5 %\"", "line 7, errors.\"element_on\"", "element.power_kw"},
	{"error said twice", "[errors]\n\"loop.draw_l\" = \"5 %\"\nloop.draw_l = \"6 %\"", "line 8, errors.\"loop.draw_l\"", "stands already"},
	{"key with @ unquoted", "[errors]\ntank_temp@top = \"1 K\"", "line 7", "put the key in quotes"},
	{"one probe matched", "[[matched]]\nprobes = [\"loop_in_temp\"]\nwithin = \"0.05 K\"", "line 7, matched.probes", "two or more"},
	{"flows matched", "[[matched]]\nprobes = [\"loop_flow\", \"loop_in_temp\"]\nwithin = \"0.05 K\"", "line 7, matched.probes", "only temperatures"},
	{"matched without within", "[[matched]]\nprobes = [\"mains_temp\", \"loop_in_temp\"]", "line 6, matched.within", "within"},
	{"matched, an offset in words", "[[matched]]\nprobes = [\"mains_temp\", \"loop_in_temp\"]\nwithin = \"0.1 K\"\noffset = \"look\"", "line 9, matched.offset", "find"},
	{"matched within litres", "[[matched]]\nprobes = [\"mains_temp\", \"loop_in_temp\"]\nwithin = \"5 L\"", "line 8, matched.within", "0.05 K"},
	{"flags of nothing", "[flags]\nloop_out = { spike = 1 }", "line 7, flags.loop_out", "did you mean \"loop_out_temp\"?"},
	{"range backwards", "[flags]\nbed_temp = { range = [90, -5] }", "line 7, flags.bed_temp.range", "lower one first"},
	{"no step", "[record]\nstep = \"fast\"", "line 7, record.step", "\"raw\""},
	{"step of milliseconds", "[record]\nstep = \"5ms\"", "line 7, record.step", "\"1m\""},
	{"log without files", "[[log]]\nsheet = \"x\"", "line 6, log.files", "yard-*.csv"},
	{"log outside the folder", "[[log]]\nfiles = [\"../x.csv\"]", "line 7, log.files", "into the farm folder"},
	{"backslash", "[[log]]\nfiles = ['logs\\x.csv']", "line 7, log.files", "write / between folders"},
	{"backslash escaped", "[[log]]\nfiles = [\"logs\\yard.csv\"]", "line 7", "instead of \\"},
	{"drive letter", "[[log]]\nfiles = [\"C:/x.csv\"]", "line 7, log.files", "from the farm folder on"},
	{"pattern left open", "[[log]]\nfiles = [\"x[.csv\"]", "line 7, log.files", "close the bracket"},
	{"header line below 0", "[[log]]\nfiles = \"x\"\nheader = -1", "line 8, log.header", "from 0"},
	{"separator", "[[log]]\nfiles = \"x\"\nseparator = \"comma\"", "line 8, log.separator", "\";\""},
	{"decimal and thousands alike", "[[log]]\nfiles = \"x\"\ndecimal = \",\"\nthousands = \",\"", "line 9, log.thousands", "another mark"},
	{"layout without a year", "[[log]]\nfiles = \"x\"\nstamp_layout = \"DD.MM hh:mm\"", "line 8, log.stamp_layout", "year, month and day"},
	{"zone of a log", "[[log]]\nfiles = \"x\"\nzone = \"+1h\"", "line 8, log.zone", "+01:00"},
	{"order", "[[log]]\nfiles = \"x\"\ndates = \"DMY\"", "line 8, log.dates", "did you mean \"dmy\"?"},
	{"end of what", "[[log]]\nfiles = \"x\"\nstamp = \"stop\"", "line 8, log.stamp", "\"instant\""},
	{"clock", "[[log]]\nfiles = \"x\"\nclock = \"fnd\"", "line 8, log.clock", "did you mean \"find\"?"},
	{"clock without unit", "[[log]]\nfiles = \"x\"\nclock = \"37\"", "line 8, log.clock", "\"37m\""},
	{"drift", "[[log]]\nfiles = \"x\"\ndrift = \"1.7\"", "line 8, log.drift", "s/d"},
	{"jump without a step", "[[log]]\nfiles = \"x\"\njumps = [\"2026-02-03 10:00\"]", "line 8, log.jumps", "-1h"},
	{"tags in part", "[[log]]\nfiles = \"x\"\ntags = { tag = \"T\" }", "line 8, log.tags.value", "values"},
	{"unknown quantity", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = \"loop_out_tmp\"", "line 9, log.columns.\"Out\"", "did you mean \"loop_out_temp\"?"},
	{"quantity in capitals", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = \"Loop_Out_Temp\"", "line 9, log.columns.\"Out\"", "did you mean \"loop_out_temp\"?"},
	{"empty place", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = \"bed_temp@\"", "line 9, log.columns.\"Out\"", "a place"},
	{"place with signs", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = \"bed_temp@a@b\"", "line 9, log.columns.\"Out\"", "\"a@b\""},
	{"column a number", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = 3", "line 9, log.columns.\"Out\"", "\"ignore\""},
	{"column 0", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"#0\" = \"bed_temp\"", "line 9, log.columns.\"#0\"", "n-th column"},
	{"header with a point", "[[log]]\nfiles = \"x\"\n[log.columns]\nOut.1 = \"bed_temp\"", "line 9, log.columns.\"Out\"", "put the header in quotes"},
	{"header with a blank", "[[log]]\nfiles = \"x\"\n[log.columns]\nLoop out = \"bed_temp\"", "line 9", "put the key in quotes"},
	{"header with a sign", "[[log]]\nfiles = \"x\"\n[log.columns]\nÖltank = \"bed_temp\"", "line 9", "put the key in quotes"},
	{"one header twice", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Out\" = \"bed_temp\"\n\"Out\" = \"slab_temp\"", "line 10, log.columns.Out", "first in line 9"},
	{"one header, other blanks", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"Loop out\" = \"bed_temp\"\n\" Loop  out\" = \"slab_temp\"", "line 10, log.columns.\" Loop  out\"", "first in line 9"},
	{"gallons", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"loop_volume\", unit = \"gal\" }", "line 9, log.columns.\"V\".unit", "which gallon|gal_us"},
	{"unit of another kind", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"loop_volume\", unit = \"kWh\" }", "line 9, log.columns.\"V\".unit", "\"m3\""},
	{"unit in other letters", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"loop_flow\", unit = \"L/mim\" }", "line 9, log.columns.\"V\".unit", "did you mean \"L/min\"?"},
	{"gallons a minute", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"loop_flow\", unit = \"gal/min\" }", "line 9, log.columns.\"V\".unit", "which gallon"},
	{"unit of a state", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"element_on\", unit = \"kW\" }", "line 9, log.columns.\"V\".unit", "0 or 1"},
	{"volts without amps", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"element_power\", volts = 230 }", "line 9, log.columns.\"V\".volts", "unit = \"A\""},
	{"amps without volts", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"element_power\", unit = \"A\" }", "line 9, log.columns.\"V\".unit", "volts"},
	{"power factor in %", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"element_power\", unit = \"A\", volts = 230, power_factor = 85 }", "line 9, log.columns.\"V\".power_factor", "at most 1"},
	{"counter of degrees", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"bed_temp\", counter = true }", "line 9, log.columns.\"V\".counter", "volume or energy"},
	{"scale 0", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"bed_temp\", scale = 0 }", "line 9, log.columns.\"V\".scale", "other than 0"},
	{"column without a quantity", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { unit = \"C\" }", "line 9, log.columns.\"V\".quantity", "nothing"},
	{"fit of a flow", "[[log]]\nfiles = \"x\"\n[log.columns]\n\"V\" = { quantity = \"loop_flow\", fit = \"pipe\" }", "line 9, log.columns.\"V\".fit", "temperature only"},
	{"key twice", "[loop]\nlength_m = 5\nbore_mm = 20\nlength_m = 6", "line 9, loop.length_m", "first in line 7"},
	{"table twice", "[plate]\n[plate]", "line 7, plate", "first in line 6"},
	{"table is a value", "plate = 3\n[farm]\ntimezone=\"UTC\"\n[[log]]\nfiles=\"a\"", "line 1, plate", "a table of keys|[plate]"},
	{"two tables of one", "[[plate]]\n[[plate]]", "line 6, plate", "single brackets"},
	{"text left open", "[plate]\nmeter_at = \"in", "line 7", "TOML 1.0|column"},
	{"text without quotes", "[plate]\nmeter_at = in", "line 7", "put the text in quotes"},
	{"no value", "[plate]\nmeter_at =", "line 7", "give the key a value"},
	{"header left open", "[plate\nmeter_at = \"in\"", "line 6", "close the bracket"},
	{"list left open", "[plate]\nmeter_at = [1,\nflow_l_min = 3", "line 8", "TOML 1.0"},
	{"table closed before", "[plate]\n[loop]\nlength_m=5\nbore_mm=20\nfluid = { propylene_glycol_pct = 3 }\n[loop.fluid]", "line 11, loop.fluid", "once"},
}

func TestFaults(t *testing.T) {
	require.GreaterOrEqual(t, len(faultCases), 40)
	for _, c := range faultCases {
		t.Run(c.name, func(t *testing.T) {
			src := c.src
			if !strings.Contains(src, "[farm]") {
				src = small + src
			}
			f, faults := Read("farm.toml", []byte(src))
			assert.Nil(t, f)
			if !assert.Len(t, faults, 1, "one fault, one message: %+v", faults) {
				return
			}
			got := faults[0]
			assert.Equal(t, c.where, got.Where)
			assert.Equal(t, "farm.toml", got.File)
			all := fmt.Sprintf("got %s; want %s; %s", got.Got, got.Want, got.Do)
			for _, w := range strings.Split(c.words, "|") {
				assert.Contains(t, all, w)
			}
			for _, w := range goWords {
				assert.NotContains(t, all, w)
			}
		})
	}
}
