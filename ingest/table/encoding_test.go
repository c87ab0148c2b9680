package table

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf16"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
	"golang.org/x/text/encoding/traditionalchinese"

	"yardheat/ingest/table/celltext"
)

func wide(text string, little bool) []byte {
	var b []byte
	for _, u := range utf16.Encode([]rune(text)) {
		if little {
			b = append(b, byte(u), byte(u>>8))
		} else {
			b = append(b, byte(u>>8), byte(u))
		}
	}
	return b
}

const degrees = "time;Loop out (°C);Flow (m³/h)\n2026-01-05 10:00;12,5;1,5\n2026-01-05 10:01;12,6;1,6\n"

// One text in every encoding reads the same.
func TestEncodings(t *testing.T) {
	western := strings.NewReplacer("°", "\xb0", "³", "\xb3").Replace(degrees)
	dos := strings.NewReplacer("°", "\xf8", "³", "\xfc").Replace(degrees)
	for _, c := range []struct {
		name, encoding, option string
		data                   []byte
	}{
		{"UTF-8", "UTF-8", "", []byte(degrees)}, {"UTF-8 with mark", "UTF-8", "", []byte(bom + degrees)},
		{"UTF-16LE with mark", "UTF-16LE", "", wide(bom+degrees, true)}, {"UTF-16BE with mark", "UTF-16BE", "", wide(bom+degrees, false)},
		{"UTF-16LE", "UTF-16LE", "", wide(degrees, true)}, {"UTF-16BE", "UTF-16BE", "", wide(degrees, false)},
		{"Windows-1252", "Windows-1252", "", []byte(western)}, {"named", "ISO-8859-1", "latin1", []byte(western)},
		{"DOS", "CP850", "", []byte(dos)},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := mustRead(t, "log.csv", c.data, Options{Encoding: c.option})[0]
			same(t, "encoding", c.encoding, got.Encoding)
			same(t, "header", "time | Loop out (°C) | Flow (m³/h)", joined(got.Header))
			same(t, "units", " | °C | m³/h", joined(got.Units))
			same(t, "last row", "2026-01-05 10:01 | 12,6 | 1,6", joined(got.Rows[1].Cells))
			same(t, "problems", "", codesOf(got.Problems))
		})
	}
}

func TestDamagedUTF8IsListed(t *testing.T) {
	text := strings.Replace(degrees, "12,6", "12\xff6", 1) + "2026-01-05 10:02;12,7;1,6\n"
	got := mustRead(t, "log.csv", []byte(text), Options{})[0]
	same(t, "encoding", "UTF-8", got.Encoding)
	same(t, "problems", "bad-encoding", codesOf(got.Problems))
	same(t, "line", 3, got.Problems[0].Line)
	if _, _, ok := celltext.ParseNumber(got.Rows[1].Cells[1], got.Decimal, ""); ok {
		t.Error("a number with a damaged byte must not be read")
	}
}

// Every refusal says what stood there, what was expected, and what to do.
func TestRefusals(t *testing.T) {
	for _, c := range []struct{ name, data, word string }{
		{"empty", "", "an empty file"}, {"blank", " \r\n\n", "blank"}, {"pdf", "%PDF-1.7\n\x01\x02", "PDF"}, {"png", "\x89PNG\r\n\x1a\n", "picture"},
		{"ole", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", ".xls"}, {"gzip, cut", "\x1f\x8b\x08\x00", ".gz"}, {"page", "<!DOCTYPE html><html>", "web page"},
		{"binary", "\x01\x02\x03\x04\x05\x06\x07\x08abc\x0e\x0f", "binary"}, {"prose", "Dear all,\nthe logger is broken.\nYours\n", "Dear all"},
		{"blanks between cells, one missing", "2026-01-05 10:00 12.5 13.1\n2026-01-05 10:01 13.1\n2026-01-05 10:02 2.5 13.1 7\n", "separator"},
		{"cut decimals", "time,a,b\n2026-01-05 10:00,12,5,13,1\n2026-01-05 10:01,12,6,13,2\n", "whole numbers"},
		{"cut decimals without a header", "2026-01-05 10:00,12,05,13,10\n2026-01-05 10:01,12,06,13,22\n2026-01-05 10:02,12,86,13,42\n", "decimal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadBytes("barn.csv", []byte(c.data), Options{})
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("want a *table.Error, got %v", err)
			}
			if e.Got == "" || e.Want == "" || e.Do == "" || e.File != "barn.csv" || !strings.Contains(err.Error(), c.word) {
				t.Errorf("incomplete message: %v", err)
			}
		})
	}
}

func TestOptionsOutOfBounds(t *testing.T) {
	for word, o := range map[string]Options{"separator": {Separator: "x"}, "decimal": {Decimal: ":"}, "thousands": {Thousands: "12"},
		"encoding": {Encoding: "klingon"}, "table": {Table: -1}, "header": {Header: line(-1)}} {
		if _, err := ReadBytes("barn.csv", []byte(degrees), o); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%s: want an error that names it, got %v", word, err)
		}
	}
	for word, o := range map[string]Options{"table 3": {Table: 3}, "farm file": {}, "header": {Header: line(99)}} {
		if _, err := ReadBytes("barn.csv", []byte(degrees), o); word != "farm file" && (err == nil || !strings.Contains(err.Error(), word)) {
			t.Errorf("%s: want an error that names it, got %v", word, err)
		}
	}
}

// Given marks win over found ones.
func TestGivenMarks(t *testing.T) {
	text := "time;L\n2026-01-05 10:00;12.998\n2026-01-05 10:01;13.003\n"
	got := mustRead(t, "log.csv", []byte(text), Options{Decimal: ","})[0]
	same(t, "thousands", ".", got.Thousands)
	v, _, ok := celltext.ParseNumber(got.Rows[0].Cells[1], got.Decimal, got.Thousands)
	if !ok || v != 12998 {
		t.Errorf("want 12998, got %v %v", v, ok)
	}
}

// The same readings in other clothes give the same numbers.
func TestSameAnswer(t *testing.T) {
	const rows = 3000
	for name, data := range map[string][]byte{
		"comma":     []byte(seasonText(rows, ",", ".")),
		"semicolon": []byte(seasonText(rows, ";", ",")),
		"tab":       []byte(seasonText(rows, "\t", ",")),
		"bar":       []byte(seasonText(rows, "|", ".")),
		"CR LF":     []byte(strings.ReplaceAll(seasonText(rows, ";", ","), "\n", "\r\n")),
		"CR":        []byte(strings.ReplaceAll(seasonText(rows, ";", ","), "\n", "\r")),
		"UTF-16":    wide(seasonText(rows, ";", ","), true),
		"quoted":    []byte("\"" + strings.NewReplacer(";", "\";\"", "\n", "\"\n\"").Replace(strings.TrimSuffix(seasonText(rows, ";", ","), "\n")) + "\"\n"),
		"preamble":  []byte(strings.Repeat("Remark: made by nobody\n", 60) + seasonText(rows, ";", ",")),
		"padded":    []byte(strings.Repeat("Remark;made by nobody;;;;\n", 60) + seasonText(rows, ";", ",")),
		"no header": []byte(strings.SplitN(seasonText(rows, ";", ","), "\n", 2)[1]),
		"workbook":  seasonBook(t, rows),
	} {
		t.Run(name, func(t *testing.T) {
			tables := mustRead(t, "season", data, Options{})
			if len(tables) != 1 {
				t.Fatalf("want one table, got %d", len(tables))
			}
			checkSeason(t, tables, rows)
			same(t, "problems", "", codesOf(tables[0].Problems))
			if want := []string{"", "°C", "°C", "°C", "L/min", "kWh"}; name != "no header" {
				same(t, "units", want, tables[0].Units)
			}
		})
	}
}

// Headers in the code pages that have no mark of their own, by the letters and
// signs in them; bytes by the code pages of golang.org/x/text.
func TestCodePagesAreToldByTheirLetters(t *testing.T) {
	for _, c := range []struct {
		page         encoding.Encoding
		header, name string
	}{
		{charmap.Macintosh, "Température (°C)", "Macintosh"},
		{charmap.CodePage850, "Temp (°C)", "CP850"},
		{charmap.Windows1250, "Przepływ (l/min)", "Windows-1250"},
		{charmap.Windows1252, "Débit (m³/h)", "Windows-1252"},
		{charmap.Windows1252, "Rücklauf (°C)", "Windows-1252"},
		{charmap.Windows1252, "m³ pro h, 1 °C", "Windows-1252"},
		{charmap.Windows1252, "Observação média (°C)", "Windows-1252"},
		{charmap.Windows1252, "“Kühlmöbel” Größe", "Windows-1252"},
		{charmap.CodePage850, "Höhe Rücklauf Kälte (°C)", "CP850"},
		{charmap.Windows1251, "Температура подачи (C)", "Windows-1251"},
		{japanese.ShiftJIS, "温度(℃)", "Shift-JIS"},
		{japanese.ShiftJIS, "タンク湯温", "Shift-JIS"},
		{japanese.EUCJP, "タンク湯温(℃)", "EUC-JP"},
		{simplifiedchinese.GBK, "进水温度(℃)", "GBK"},
		{simplifiedchinese.GBK, "进水温度", "GBK"},
		{korean.EUCKR, "온도(℃)", "EUC-KR"},
		{korean.EUCKR, "저장조 온도", "EUC-KR"},
		{traditionalchinese.Big5, "水箱溫度(℃)", "Big5"},
	} {
		b, err := c.page.NewEncoder().String("time;" + c.header + "\n2026-01-05 10:00;12,5\n2026-01-05 10:01;12,6\n")
		if err != nil {
			t.Fatal(err)
		}
		got := mustRead(t, "log.csv", []byte(b), Options{})[0]
		same(t, "encoding of "+c.header, c.name, got.Encoding)
		same(t, "header", c.header, got.Header[1])
	}
}

// Words of loggers' headers in the languages of each code page; none states
// which it is.
func TestCodePagesByLanguage(t *testing.T) {
	for _, c := range []struct {
		encoding string
		header   string
		page     *charmap.Charmap
	}{
		{"Windows-1252", "Zeit;Rücklauf °C;Zähler m³", charmap.Windows1252},
		{"Windows-1252", "Heure;Température d'entrée °C;Débit relevé à l'arrêt", charmap.Windows1252},
		{"Windows-1252", "Hora;Potência (ligações);Vazão", charmap.Windows1252},
		{"Windows-1252", "Tid;Fremløb °C;Måler", charmap.Windows1252},
		{"Windows-1252", "Tími;Hiti á vatni;þrýstingur", charmap.Windows1252},
		{"Windows-1250", "Czas;Temperatura wody [°C];Moc sprężarki [kW]", charmap.Windows1250},
		{"Windows-1250", "Čas;Teplota zásobníku;Spotřeba", charmap.Windows1250},
		{"Windows-1250", "Idő;Tartály hőmérséklet;Térfogatáram", charmap.Windows1250},
		{"Windows-1254", "Zaman;Depo Sıcaklığı;Kompresör", charmap.Windows1254},
	} {
		t.Run(c.header, func(t *testing.T) {
			text := c.header + "\n2026-01-05 10:00;12,5;1,5\n2026-01-05 10:01;12,6;1,6\n"
			data, err := c.page.NewEncoder().Bytes([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			got := mustRead(t, "log.csv", data, Options{})[0]
			same(t, "encoding", c.encoding, got.Encoding)
			same(t, "header", strings.ReplaceAll(c.header, ";", " | "), joined(got.Header))
		})
	}
	if Western("Spot\u00f8eba z\u00e1sobn\u00edku") || !Western("Rücklauf °C m³/h") {
		t.Error("letters of no Western language, or of one, are not told")
	}
}
