package look

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/table"
)

func (t *Table) codes() string {
	var out []string
	for _, p := range t.Problems {
		out = append(out, p.Code)
	}
	return strings.Join(out, " ")
}

func steady(i int) string { return fmt.Sprintf("%.1f,%d", 20+float64(i%7)/2, 1000+3*i) }

func TestWhatNULsBrokeIsNoReading(t *testing.T) {
	text := table10("time,T (°C),n", iso, ",", 40, steady)
	for _, torn := range []string{"2026-01-05 1\x00\x00\x00,9.0,1", "2026-01-05\x00\x00,9.0,1", "2026-01-05\x03 11:4\x010:00,9.0,1"} {
		got := one(t, "torn.csv", text+torn+"\n"+"2026-01-06 10:00:00,20.0,2000\n")
		require.Equal(t, 41, got.Rows, "%q is no stamp", torn)
		require.Contains(t, got.codes(), "stamp-bad")
		require.Equal(t, 20.0, *got.column("T (°C)").Min)
	}
	got := one(t, "torn.csv", text+"2026-01-06 10:00:00,2\x00\x00,3000\n")
	require.Equal(t, 20.0, *got.column("T (°C)").Min, "2 is what is left of a number")
	require.Contains(t, got.codes(), "bad-cell")
}

// A logger that fills cells up to a length with NULs has broken none.
func TestNULsThatFillCellsUp(t *testing.T) {
	got := one(t, "padded.csv", strings.ReplaceAll(table10("time,T (°C),n", iso, ",", 40, steady), ",", "\x00\x00,"))
	require.Equal(t, 40, got.Rows)
	require.Equal(t, 40, got.column("T (°C)").Readings)
}

func TestATimeOfDayCutShortIsNone(t *testing.T) {
	for torn, rows := range map[string]int{"2026-01-05 1": 41, "2026-01-05 10:3": 41, "2026-01-05 10:03": 42} {
		got := one(t, "torn.csv", table10("time,a,n", "2006-01-02 15:04", ",", 40, steady)+torn+",9.0,1\n2026-01-06 10:00,20.0,2000\n")
		require.Equal(t, rows, got.Rows, torn)
	}
	got := one(t, "unpadded.csv", table10("time,a,n", "2006-1-2 15:4", ",", 40, steady))
	require.Equal(t, 40, got.Rows, "a column that pads nothing is whole")
	require.Empty(t, got.Problems)
}

func TestFooterWithAStamp(t *testing.T) {
	text := table10("time,T (°C),n", iso, ",", 40, steady)
	for _, footer := range []string{"Export finished 2026-03-05 10:00", "End of data,2026-03-05 10:00,", "2026-03-05 10:00,Export finished,", "Total,,40", "2026-03-05 10:00 export finished"} {
		got := one(t, "footer.csv", text+footer+"\n")
		require.Equal(t, 40, got.Rows, footer)
		require.Equal(t, "2026-01-05T16:30:00", got.Last, footer)
		require.NotEmpty(t, got.Problems, footer)
	}
	got := one(t, "words.csv", text+"2026-01-05 16:40:00,Unplugged,Unplugged\n")
	require.Equal(t, 41, got.Rows, "a word may be what the logger writes for a reading")
}

func TestARowADayIsRefused(t *testing.T) {
	for name, write := range map[string]func(i int) string{
		"h":    func(i int) string { return fmt.Sprintf("h%d", i+1) },
		"H0":   func(i int) string { return fmt.Sprintf("H%02d", i+1) },
		"hour": func(i int) string { return fmt.Sprintf("Hour %d", i) },
		"bare": func(i int) string { return fmt.Sprint(i + 1) },
		"time": func(i int) string { return fmt.Sprintf("%02d:00", i) },
		"span": func(i int) string { return fmt.Sprintf("%02d:00-%02d:00", i, i+1) },
	} {
		var text strings.Builder
		text.WriteString("date")
		for i := range 24 {
			text.WriteString("," + write(i))
		}
		for day := range 20 {
			fmt.Fprintf(&text, "\n2026-01-%02d", day+1)
			for i := range 24 {
				fmt.Fprintf(&text, ",%d", (day+i)%20)
			}
		}
		_, err := Bytes("days.csv", []byte(text.String()+"\n"), Options{})
		require.ErrorContains(t, err, "a row a day", name)
		channels := strings.ReplaceAll(text.String(), "\n2026-01-", "\n2026-01-02 03:")
		if name != "time" && name != "span" && name != "bare" {
			_, err = Bytes("channels.csv", []byte(channels+"\n"), Options{})
			require.NoError(t, err, "%s: beside times of day these are names of channels", name)
		}
	}
}

func TestFileCutInItsLastCell(t *testing.T) {
	text := table10("time,T (°C),n,state", iso, ",", 40, func(i int) string { return fmt.Sprintf("%s,%s", steady(i), []string{"off", "on"}[i%2]) })
	for _, c := range []struct {
		end, codes string
		rows       int
	}{
		{"2026-01-05 16:40:00,20.0,1120,off", "", 41},
		{"2026-01-05 16:40:00,20.0,1120,of", "file-cut", 41},
		{"2026-01-05 16:40:00,20.0,11", "file-cut", 41},
		{"2026-01-05 16:40:00,20.0,1120", "file-cut", 41},
		{"2026-01-05 16:40:00,2", "file-cut", 41},
		{"2026-01-05 16:40:00", "file-cut", 41},
		{"2026-01-05 16:4", "file-cut", 40},
		{"2026-01-05", "file-cut", 40},
		{"20", "file-cut", 40},
		{"End of file", "footer", 40},
	} {
		got := one(t, "cut.csv", text+c.end)
		require.Equal(t, c.rows, got.Rows, c.end)
		require.Subset(t, strings.Fields(got.codes()+" short-line"), strings.Fields(c.codes), c.end)
		if c.codes == "" {
			require.Empty(t, got.Problems, c.end)
		}
		if n := got.column("n"); c.rows == 40 || c.end == "2026-01-05 16:40:00,20.0,11" {
			require.Equal(t, 1000.0, *n.Min, c.end)
			require.Equal(t, 40, n.Readings, c.end)
		}
	}
	open := table10("time,n", iso, ",", 40, func(i int) string { return fmt.Sprint(i * 37 % 130) })
	require.Equal(t, "file-end", one(t, "open.csv", open+"2026-01-05 16:40:00,1").codes())
	near := table10("time,n", iso, ",", 40, func(i int) string { return fmt.Sprint(10 + i%3) })
	require.Equal(t, "file-end", one(t, "near.csv", near+"2026-01-05 16:40:00,9").codes(), "9 may follow 10")
	require.Empty(t, one(t, "full.csv", open+"2026-01-05 16:40:00,101").Problems)
}

func TestTornNumbersOfTheTableReader(t *testing.T) {
	tables, err := table.ReadBytes("t.csv", []byte("time,a\n2026-01-05 10:00,10\n2026-01-05 10:01,11\n2026-01-05 10:02,12\n2026-01-05 10:03,1"), table.Options{})
	require.NoError(t, err)
	require.Empty(t, tables[0].Rows[3].Cells[1])
}

func TestATurnedTableIsRefused(t *testing.T) {
	head, in, out := "time", "T in", "T out"
	for i := range 30 {
		head += fmt.Sprintf(",2026-01-05 10:%02d", i)
		in += fmt.Sprintf(",2%d.5", i%7)
		out += fmt.Sprintf(",1%d.5", i%7)
	}
	_, err := Bytes("turned.csv", []byte(head+"\n"+in+"\n"+out+"\n"), Options{})
	require.ErrorContains(t, err, "a column for each date or time")
}

func TestWhatIsNoReadingAmongReadings(t *testing.T) {
	got := one(t, "words.csv", table10("time,flow (L/min)", iso, ",", 30, func(i int) string { return []string{"3.5", "4.5", "LOW"}[i%3] }))
	require.Contains(t, got.codes(), "bad-cell")
	require.Equal(t, 20, got.column("flow (L/min)").Readings)
	got = one(t, "units.csv", table10("time,T", iso, ",", 30, func(i int) string { return []string{"20.5 °C", "21.5 °C", "70.5 °F"}[i/11] }))
	require.InDelta(t, 21.5, *got.column("T").Max, 1e-9, "70.5 °F is 21.4 °C")
	got = one(t, "spellings.csv", table10("time,T", iso, ",", 30, func(i int) string { return []string{"20.5 °C", "21.5 degC"}[i%2] }))
	require.Nil(t, got.unsureOf("log.columns"))
	got = one(t, "span.csv", table10("time;n", iso, ";", 30, func(i int) string { return fmt.Sprintf("%d.5", i%9) })+"2026-01-05 - 2026-01-06;240.5\n")
	require.Equal(t, 30, got.Rows, "from and to are no stamp")
	require.Equal(t, 8.5, *got.column("n").Max)
	require.NotEmpty(t, got.Problems)
}

func TestJSONThatIsNoListOfRecords(t *testing.T) {
	for name, text := range map[string]string{"lists": `[["2026-01-05",1],["2026-01-06",2]]`, "columns": `{"data":[{"time":"2026-01-05","v":1}]}`, "broken": `{"time":"2026-01-05",}`} {
		_, err := Bytes(name+".json", []byte(text+"\n"), Options{})
		require.ErrorContains(t, err, "JSON", name)
	}
}
