package look

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// lines writes n rows below a header.
func lines(header string, n int, row func(i int) string) string {
	var b strings.Builder
	b.WriteString(header)
	for i := range n {
		b.WriteString("\n" + row(i))
	}
	return b.String() + "\n"
}

var from = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

func day(i int) string { return from.AddDate(0, 0, i).Format("2006-01-02") }
func quarter(i int) string {
	return from.Add(time.Duration(i) * 15 * time.Minute).Format("2006-01-02 15:04")
}

func said(t *Table) string {
	var b strings.Builder
	for _, p := range t.Problems {
		b.WriteString(p.Code + ": " + p.Text + "\n")
	}
	for _, u := range t.Unsure {
		b.WriteString(u.About + ": " + u.Text + "\n")
	}
	return b.String()
}

// A length of time beside a date a row is no time of day.
func TestLengthsOfTime(t *testing.T) {
	for name, cell := range map[string]func(i int) string{
		"Runtime":      func(i int) string { return fmt.Sprintf("%d:%02d:%02d", 3+5*i, 7*i%60, 11*i%60) },
		"Total":        func(i int) string { return fmt.Sprintf("%d:%02d:%02d", 20+5*i, 7*i%60, 11*i%60) }, // beyond a day: whatever its name
		"Run time":     func(i int) string { return fmt.Sprintf("%d:%02d", 1+i%9, 7*i%60) },
		"Cooling time": func(i int) string { return fmt.Sprintf("%d:%02d", 1+i%4, 7*i%60) },
		"Run (h:mm)":   func(i int) string { return fmt.Sprintf("%d:%02d", i%6, 7*i%60) },
		"Laufzeit":     func(i int) string { return fmt.Sprintf("%02d:%02d:00", i%6, 7*i%60) },
	} {
		got := one(t, "run.csv", lines("Day;"+name+";kWh", 40, func(i int) string { return fmt.Sprintf("%s;%s;%d.5", day(i), cell(i), i%7) }))
		require.Equal(t, []string{"Day"}, got.Stamp.Columns, name)
		require.Equal(t, 40, got.Rows, name)
		require.Equal(t, name, got.Columns[0].Name)
		require.Contains(t, said(got), "are hours and minutes", name)
	}
}

// A time of day beside a date a row stays one; where its name says neither, that
// is said.
func TestOneTimeADay(t *testing.T) {
	for name, doubt := range map[string]bool{"Time": false, "Reading time": false, "Start time": false, "Uhrzeit": false, "Tank": true} {
		got := one(t, "daily.csv", lines("Date;"+name+";T (°C)", 30, func(i int) string { return fmt.Sprintf("%s;%02d:%02d;%d.5", day(i), 7+i%2, 7*i%60, i%7) }))
		require.Equal(t, []string{"Date", name}, got.Stamp.Columns)
		require.Equal(t, doubt, strings.Contains(said(got), "times of day or lengths of time"), name)
	}
	got := one(t, "often.csv", lines("Date;Run time;T (°C)", 200, func(i int) string {
		return strings.Replace(quarter(i), " ", ";", 1) + fmt.Sprintf(";%d.5", i%7)
	}))
	require.Equal(t, []string{"Date", "Run time"}, got.Stamp.Columns, "many rows a day: a time of day")
}

func TestRowsADay(t *testing.T) {
	wide := func(word string, n int, extra string) string {
		header := "Date"
		for k := range n {
			header += fmt.Sprintf(",%s%02d", word, k+1)
		}
		return lines(header+extra, 20, func(i int) string {
			row := day(i)
			for k := range n {
				row += fmt.Sprintf(",%d.%d", 1+(i+k)%7, k%10)
			}
			return row + strings.Repeat(",", strings.Count(extra, ","))
		})
	}
	for _, text := range []string{wide("HE", 24, ",HE02*"), wide("V", 96, ""), wide("INT ", 48, ""), wide("HE", 25, "")} {
		_, err := Bytes("day.csv", []byte(text), Options{})
		require.ErrorContains(t, err, "a row a day with a column for each time of day")
	}
	for _, text := range []string{wide("Probe ", 24, ""), wide("V", 20, ""), strings.ReplaceAll(wide("V", 24, ""), "\n2026-01-", "\n2026-01-05 10:")} {
		got, err := Bytes("probes.csv", []byte(text), Options{})
		require.NoError(t, err)
		require.Equal(t, 20, got[0].Rows)
	}
	header := 1
	opt := Options{}
	opt.Table.Header = &header
	got, err := Bytes("stated.csv", []byte(wide("V", 24, "")), opt)
	require.NoError(t, err, "a stated header: channels")
	require.Len(t, got[0].Columns, 24)

	months := lines("Day,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec", 31, func(i int) string { return fmt.Sprint(i+1) + strings.Repeat(fmt.Sprintf(",%d.5", i%9), 12) })
	_, err = Bytes("months.csv", []byte(months), Options{})
	require.ErrorContains(t, err, "a column for each month")
}

func TestLinesOfSeveralKinds(t *testing.T) {
	text := "10,SITE,2026\n"
	for m := range 4 {
		text += fmt.Sprintf("20,M%d,KWH,30,x\n", m)
		for i := range 10 {
			text += "30," + strings.ReplaceAll(day(i), "-", "") + strings.Repeat(fmt.Sprintf(",0.%d", 1+i%9), 48) + "\n"
		}
	}
	_, err := Bytes("records.csv", []byte(text+"90\n"), Options{})
	require.ErrorContains(t, err, "told by their first cell (10, 20, 30")

	got := one(t, "ids.csv", lines("id,time,T", 60, func(i int) string { return fmt.Sprintf("%d,%s,%d.5", 101+i%3, quarter(i), i%7) }))
	require.Equal(t, 60, got.Rows, "numbers of channels over cells of one kind")
}

func TestAmountsOfMoney(t *testing.T) {
	for cell, want := range map[string]string{"$0.%02d": "$", "0.%02d €": "€", "€ 0.%02d": "€", "R$ 0.%02d": "R$", "0.%02d kr": "kr", "-£0.%02d": "£", "CHF 0.%02d": "CHF"} {
		got := one(t, "bill.csv", lines("time;kWh;Cost", 40, func(i int) string { return fmt.Sprintf("%s;1.%d;"+cell, quarter(i), i%9, 10+i) }))
		require.Equal(t, want, got.Columns[1].Unit, cell)
		require.Equal(t, 40, got.Columns[1].Readings, cell)
		require.Empty(t, got.Columns[1].Quantity)
	}
}

func TestHoursWithALetter(t *testing.T) {
	got := one(t, "h.csv", lines("Data;Hora;T (°C)", 60, func(i int) string {
		at := from.Add(time.Duration(i) * time.Hour)
		return fmt.Sprintf("%s;%dh00;%d,5", at.Format("02/01/2006"), at.Hour(), i%7)
	}))
	require.Equal(t, []string{"Data", "Hora"}, got.Stamp.Columns)
	require.InDelta(t, 3600, got.IntervalS, 0)
}

func TestUnitRows(t *testing.T) {
	row := func(i int) string { return fmt.Sprintf("%s,%d,%d.5,%d.25", quarter(i), 700+i, i%5, i%3) }
	for name, text := range map[string]string{
		"unknown units": lines("Point,Air,Static,Hz out\nUnits,cfm,in. w.c.,Hz", 50, row),
		"above":         lines("Units,cfm,in. w.c.,Hz\nPoint,Air,Static,Hz out", 50, row),
		"among":         lines("Channel,A,B,C\nUnit,cfm,in. w.c.,Hz\nName,Air,Static,Hz out", 50, row),
	} {
		got := one(t, "units.csv", text)
		require.Len(t, got.Columns, 3, name)
		for k, unit := range []string{"cfm", "in. w.c.", "Hz"} {
			require.Equal(t, unit, got.Columns[k].Unit, name)
		}
	}
	got := one(t, "brackets.csv", lines("time,Heat (kBTU/h),U (VDC),Bed (Â°C)", 50, row))
	require.Equal(t, "kBTU/h", got.Columns[0].Unit)
	require.Equal(t, "VDC", got.Columns[1].Unit)
	require.Equal(t, "°C", got.Columns[2].Unit, "encoded twice")
	require.Equal(t, "Bed (Â°C)", got.Columns[2].Name, "names stay as they stand in the file")
}

func TestUnitThatChanges(t *testing.T) {
	got := one(t, "kw.csv", lines("time,Power,Unit", 60, func(i int) string {
		if i < 35 {
			return fmt.Sprintf("%s,%d.5,kW", quarter(i), 1+i%3)
		}
		return fmt.Sprintf("%s,%d,W", quarter(i), 1500+i)
	}))
	require.Contains(t, said(got), `unit-changes: "Unit" says "kW" up to here and "W" from here on`)
	require.Equal(t, 37, got.Problems[0].Line)
	require.NotContains(t, said(got), "no unit is stated")
}

func TestPairs(t *testing.T) {
	row := func(i int) string {
		a := fmt.Sprintf("%s,%d.5", quarter(i), i%7)
		if i >= 40 {
			return a + ",,"
		}
		return a + fmt.Sprintf(",%s:20,%d.25", from.Add(time.Duration(i)*22*time.Minute).Format("2006-01-02 15:04"), i%5)
	}
	for name, header := range map[string]string{"units beside": "Supply,,Blower,\nTime,°C,Time,kW", "names below": "Supply,,Blower,\nDate,T (°C),Date,P (kW)"} {
		got, err := Bytes("pairs.csv", []byte(lines(header, 60, row)), Options{})
		require.NoError(t, err)
		require.Len(t, got, 2, name)
		require.Equal(t, []int{60, 40}, []int{got[0].Rows, got[1].Rows}, name)
		require.True(t, strings.HasPrefix(got[0].Columns[0].Name, "Supply"), name)
		require.True(t, strings.HasPrefix(got[1].Columns[0].Name, "Blower"), name)
		require.Equal(t, "kW", got[1].Columns[0].Unit, name)
		require.InDelta(t, 22*60, got[1].IntervalS, 0, name)
	}
	got := one(t, "received.csv", lines("Time,T (°C),Received,RSSI", 60, func(i int) string { return fmt.Sprintf("%s,%d.5,%s:07,-%d", quarter(i), i%7, quarter(i), 50+i%9) }))
	require.Equal(t, 60, got.Rows, "stamps of another name are of the same row")
	require.Equal(t, []string{"Time"}, got.Stamp.Columns)
}

func TestNamesElsewhere(t *testing.T) {
	for name, text := range map[string]string{
		"in a remark":      lines("# Station 7\n# time, T, U\n#", 40, func(i int) string { return fmt.Sprintf("%s,%d.5,%d", quarter(i), i%7, i%9) }),
		"in a statement":   lines("COPY public.readings (time, T, U) FROM stdin;", 40, func(i int) string { return fmt.Sprintf("%s\t%d.5\t%d", quarter(i), i%7, i%9) }),
		"parted otherwise": lines("time,T,U", 40, func(i int) string { return fmt.Sprintf("%s;%d,5;%d", quarter(i), i%7, i%9) }),
	} {
		got := one(t, "names.csv", text)
		require.Equal(t, []string{"T", "U"}, []string{got.Columns[0].Name, got.Columns[1].Name}, name)
		require.NotContains(t, said(got), "no line names the columns", name)
	}
	got := one(t, "remark.txt", lines("Farm North, tank 2", 40, func(i int) string { return fmt.Sprintf("%s;%d.5", quarter(i), i%7) }))
	require.Contains(t, said(got), "no line names the columns", "a remark with as many commas")
}

func TestPrintedPages(t *testing.T) {
	var b strings.Builder
	for page := range 3 {
		fmt.Fprintf(&b, "\nBARN REPORT          PAGE %d OF 3\n\n  DATE      TIME     TEMP 1    TEMP 2   STATE\n                     DEG F     DEG F\n---------------------------------------------\n", page+1)
		for i := range 30 {
			at := time.Date(2026, 10, 2, 0, 0, 0, 0, time.UTC).Add(time.Duration(page*30+i) * 30 * time.Minute)
			fmt.Fprintf(&b, "%s  %s     15%d.1     13%d.2   OK\n", at.Format("01/02/2006"), at.Format("15:04"), i%7, i%5)
		}
	}
	got := one(t, "pages.txt", b.String())
	require.Equal(t, 90, got.Rows)
	require.Equal(t, "2026-10-02T00:00:00", got.First)
	require.Equal(t, []string{"DEG F", "DEG F", ""}, []string{got.Columns[0].Unit, got.Columns[1].Unit, got.Columns[2].Unit})
}

// Where one table of a file proves the order of its dates, the others follow.
func TestOrderOfASibling(t *testing.T) {
	part := func(first time.Time, name string) string {
		return lines("Date,"+name, 30, func(i int) string {
			return first.Add(time.Duration(i)*10*time.Minute).Format("01/02/2006 15:04") + fmt.Sprintf(",%d.5", i%7)
		})
	}
	text := part(time.Date(2026, 10, 2, 8, 0, 0, 0, time.UTC), "A (°C)") + "\n" + part(time.Date(2026, 10, 20, 8, 0, 0, 0, time.UTC), "B (°C)")
	got, err := Bytes("two.csv", []byte(text), Options{})
	require.NoError(t, err)
	require.Len(t, got, 2)
	require.Equal(t, "2026-10-02T08:00:00", got[0].First)
	require.Contains(t, got[0].Stamp.Because, "another table of the file proves it")
}

func TestLettersOfTheCells(t *testing.T) {
	for want, states := range map[string][2]string{"zamknięty": {"zamkni\xeaty", "otwarty"}, "WYŁ": {"WY\xa3", "W\xa3"}, "zavřeno": {"zav\xf8eno", "otev\xf8eno"}} {
		got := one(t, "states.csv", lines("time;T;State", 40, func(i int) string { return fmt.Sprintf("%s;%d,5;%s", quarter(i), i%7, states[i%2]) }))
		require.Contains(t, got.Columns[1].Words, want)
		require.Contains(t, said(got), "encoding: ")
	}
	got := one(t, "dansk.csv", lines("time;T;Tilstand", 40, func(i int) string {
		return fmt.Sprintf("%s;%d,5;%s", quarter(i), i%7, [2]string{"k\xf8ler", "t\xf8mt"}[i%2])
	}))
	require.Equal(t, "Windows-1252", got.Encoding)
	got = one(t, "gbk.csv", lines("\xca\xb1\xbc\xe4,T (kW)", 40, func(i int) string { // 时间
		return from.Add(time.Duration(i)*time.Hour).Format("2006\xc4\xea01\xd4\xc202\xc8\xd5 15\xca\xb104\xb7\xd6") + fmt.Sprintf(",%d.5", i%7)
	}))
	require.Equal(t, "GBK", got.Encoding)
	require.Equal(t, 40, got.Rows)
}

func TestOtherCalendarsAndClocks(t *testing.T) {
	got := one(t, "thai.csv", lines("Date,Time,T (°C)", 40, func(i int) string { return fmt.Sprintf("%02d/06/2569,%02d:00,%d.5", 1+i/24, i%24, i%7) }))
	require.Contains(t, said(got), "the year 2569")
	require.Contains(t, said(got), "2026")

	got = one(t, "reset.csv", lines("time,T (°C)", 100, func(i int) string {
		if i >= 60 && i < 85 {
			return time.Date(2000, 1, 1, 0, 10*(i-60), 0, 0, time.UTC).Format("2006-01-02 15:04") + ",20.5"
		}
		return quarter(i) + ",20.5"
	}))
	require.Equal(t, "2026-01-05T00:00:00", got.First)
	require.Contains(t, said(got), "25 rows more than")
	require.Contains(t, said(got), "the clock was not set")
}

func TestUnitOfTheOneColumn(t *testing.T) {
	got := one(t, "lone.csv", "Point;Grandeur;Unite;Pas\n7;Energie;W;30\n\n"+lines("Horodate;Valeur", 40, func(i int) string { return quarter(i) + fmt.Sprintf(";%d", 900+i%7) }))
	require.Equal(t, "W", got.Columns[0].Unit)
}
