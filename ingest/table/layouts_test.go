package table

import (
	"strings"
	"testing"
)

// layout is one text export written out, and what a person reads in it.
type layout struct {
	name, text string
	opt        Options
	// want, cells parted by " | "
	header, units          string
	sep, decimal, thousand string
	line                   int // of the header
	first, last            string
	rows                   int
	codes                  string // of the problems, in order
	tables                 int    // 0 = 1
}

func line(n int) *int { return &n }

const bom = "\ufeff"

var layouts = []layout{
	{name: "plain comma", text: "time,Loop out (°C),Flow [L/min]\n2026-01-05 10:00,12.5,14.2\n2026-01-05 10:01,12.6,0.0\n",
		header: "time | Loop out (°C) | Flow [L/min]", units: " | °C | L/min", sep: ",", decimal: ".", line: 1,
		first: "2026-01-05 10:00 | 12.5 | 14.2", last: "2026-01-05 10:01 | 12.6 | 0.0", rows: 2},
	{name: "semicolon and decimal comma", text: "Zeit;Vorlauf °C;Durchfluss l/min\n05.01.2026 10:00;12,5;14,25\n05.01.2026 10:01;12,6;0,00\n",
		header: "Zeit | Vorlauf °C | Durchfluss l/min", units: " | °C | l/min", sep: ";", decimal: ",", line: 1,
		first: "05.01.2026 10:00 | 12,5 | 14,25", last: "05.01.2026 10:01 | 12,6 | 0,00", rows: 2},
	{name: "one channel with semicolon and decimal comma", text: "Zeit;T\n05.01.2026 10:00;12,5\n05.01.2026 10:01;12,6\n05.01.2026 10:02;12,7\n",
		header: "Zeit | T", units: " | ", sep: ";", decimal: ",", line: 1,
		first: "05.01.2026 10:00 | 12,5", last: "05.01.2026 10:02 | 12,7", rows: 3},
	{name: "one channel with bar and decimal comma", text: "Zeit|T\n05.01.2026 10:00|12,5\n05.01.2026 10:01|12,6\n05.01.2026 10:02|12,7\n",
		header: "Zeit | T", units: " | ", sep: "|", decimal: ",", line: 1,
		first: "05.01.2026 10:00 | 12,5", last: "05.01.2026 10:02 | 12,7", rows: 3},
	{name: "tab and decimal comma", text: "Date\tTime\tBed\n05.01.2026\t10:00:00\t48,5\n05.01.2026\t10:10:00\t48,25\n",
		header: "Date | Time | Bed", units: " |  | ", sep: "\t", decimal: ",", line: 1,
		first: "05.01.2026 | 10:00:00 | 48,5", last: "05.01.2026 | 10:10:00 | 48,25", rows: 2},
	{name: "byte-order mark and quoted header", text: bom + "\"time\",\"T, out\"\n\"2026-01-05 10:00\",\"12.5\"\n\"2026-01-05 10:01\",\"12.6\"\n",
		header: "time | T, out", units: " | ", sep: ",", decimal: ".", line: 1,
		first: "2026-01-05 10:00 | 12.5", last: "2026-01-05 10:01 | 12.6", rows: 2},
	{name: "quoted decimal commas between commas", text: "time,a,b\n2026-01-05 10:00,\"12,5\",\"3,25\"\n2026-01-05 10:01,\"12,6\",\"3,5\"\n",
		header: "time | a | b", units: " |  | ", sep: ",", decimal: ",", line: 1,
		first: "2026-01-05 10:00 | 12,5 | 3,25", last: "2026-01-05 10:01 | 12,6 | 3,5", rows: 2},
	{name: "sep line", text: "sep=;\ntime;a\n2026-01-05 10:00;1,5\n2026-01-05 10:01;1,6\n",
		header: "time | a", units: " | ", sep: ";", decimal: ",", line: 2,
		first: "2026-01-05 10:00 | 1,5", last: "2026-01-05 10:01 | 1,6", rows: 2},
	{name: "preamble of other widths", text: "Logger: north byre\nSerial;1234\nStart;2026-01-05 10:00\n\ntime;in;out\n2026-01-05 10:00;10,1;20,2\n2026-01-05 10:10;10,2;20,3\n2026-01-05 10:20;10,2;20,3\n",
		header: "time | in | out", units: " |  | ", sep: ";", decimal: ",", line: 5,
		first: "2026-01-05 10:00 | 10,1 | 20,2", last: "2026-01-05 10:20 | 10,2 | 20,3", rows: 3},
	{name: "preamble padded to the width, as spreadsheets save it", text: "Farm log;;;\nDevice;Yard 1;;\nStart;2026-01-05 10:00;;\nEnd;2026-02-05 10:00;;\n;;;\ntime;in;out;flow\n2026-01-05 10:00;10,1;20,2;1,5\n2026-01-05 10:10;10,2;20,3;1,6\n2026-01-05 10:20;10,2;20,3;1,6\n",
		header: "time | in | out | flow", units: " |  |  | ", sep: ";", decimal: ",", line: 6,
		first: "2026-01-05 10:00 | 10,1 | 20,2 | 1,5", last: "2026-01-05 10:20 | 10,2 | 20,3 | 1,6", rows: 3},
	{name: "unit row in brackets", text: "time,Loop in,Loop out,Flow\n,[°C],[°C],[L/min]\n2026-01-05 10:00,10.1,20.2,3.4\n2026-01-05 10:01,10.1,20.3,3.5\n",
		header: "time | Loop in | Loop out | Flow", units: " | °C | °C | L/min", sep: ",", decimal: ".", line: 1,
		first: "2026-01-05 10:00 | 10.1 | 20.2 | 3.4", last: "2026-01-05 10:01 | 10.1 | 20.3 | 3.5", rows: 2},
	{name: "unit row with stamp pattern", text: "Datum;Ein;Aus\nDD.MM.YYYY hh:mm;°C;°C\n05.01.2026 10:00;10,1;20,2\n05.01.2026 10:01;10,2;20,2\n",
		header: "Datum | Ein | Aus", units: "DD.MM.YYYY hh:mm | °C | °C", sep: ";", decimal: ",", line: 1,
		first: "05.01.2026 10:00 | 10,1 | 20,2", last: "05.01.2026 10:01 | 10,2 | 20,2", rows: 2},
	{name: "groups above names above units", text: ";Loop;;Plate;\nTime;in;out;in;out\n;°C;°C;°C;°C\n05.01.2026 10:00;10,1;20,2;30,1;40,1\n05.01.2026 10:01;10,1;20,2;30,1;40,1\n",
		header: "Time | Loop in | Loop out | Plate in | Plate out", units: " | °C | °C | °C | °C", sep: ";", decimal: ",", line: 1,
		first: "05.01.2026 10:00 | 10,1 | 20,2 | 30,1 | 40,1", last: "05.01.2026 10:01 | 10,1 | 20,2 | 30,1 | 40,1", rows: 2},
	{name: "four header rows", text: "Site,North,North,North\nProbe,P1,P2,P3\nPlace,bed,bed,tank\nStat,Avg,Avg,Avg\n2026-01-05 10:00,48.1,49.2,55.0\n2026-01-05 11:00,48.1,49.2,55.0\n",
		header: "Site Probe Place Stat | North P1 bed Avg | North P2 bed Avg | North P3 tank Avg", units: " |  |  | ", sep: ",", decimal: ".", line: 1,
		first: "2026-01-05 10:00 | 48.1 | 49.2 | 55.0", last: "2026-01-05 11:00 | 48.1 | 49.2 | 55.0", rows: 2},
	{name: "dates with points and blanks", text: "Nap;a\n2026. 01. 05. 9:45;1,5\n2026. 01. 05. 10:00;1,6\n2026. 01. 05. 10:15;1,6\n",
		header: "Nap | a", units: " | ", sep: ";", decimal: ",", line: 1, first: "2026. 01. 05. 9:45 | 1,5", last: "2026. 01. 05. 10:15 | 1,6", rows: 3},
	{name: "JSON lines", text: "{\"time\":\"2026-01-05T10:00:00Z\",\"in\":{\"t\":1.234},\"on\":true}\n{\"time\":\"2026-01-05T10:01:00Z\",\"on\":false,\"in\":{\"t\":null}}\n{\"time\":\"2026-01-05T10:02:00Z\",\"in\":{\"t\":1.235},\"flow\":3}\n",
		header: "time | in.t | on | flow", units: " |  |  | ", decimal: ".", line: 1, first: "2026-01-05T10:00:00Z | 1.234 | true | ", last: "2026-01-05T10:02:00Z | 1.235 |  | 3", rows: 3},
	{name: "JSON array, cut", text: "[\n{\"ts\":1767607200,\"t\":1.5},\n{\"ts\":1767607260,\"t\":1.6},\n{\"ts\":1767607320,\"t\":1.7},\n{\"ts\":1767607380,\"t\":1.",
		header: "ts | t", units: " | ", decimal: ".", line: 2, first: "1767607200 | 1.5", last: "1767607320 | 1.7", rows: 3, codes: "file-cut"},
	{name: "pairs behind a stamp", text: "2026-01-05 10:00:00 t=1.5 flow=\"3 l/min\"\n# restarted\n2026-01-05 10:01:00 t=1.6\n2026-01-05 10:02:00 flow=3.5 t=1.7\n2026-01-05 10:03:00 t=1.8\n2026-01-05 10:04:00 t=1.9\n2026-01-05 10:05:00 t=1.9\n",
		header: "time | t | flow", units: " |  | ", decimal: ".", line: 1, first: "2026-01-05 10:00:00 | 1.5 | 3 l/min", last: "2026-01-05 10:05:00 | 1.9 | ", rows: 6, codes: "not-a-row"},
	{name: "pairs, cut in the last", text: "at=2026-01-05T10:00:00;t=1,5;n=1001\nat=2026-01-05T10:01:00;t=1,6;n=1002\nat=2026-01-05T10:02:00;t=1,7;n=1003\nat=2026-01-05T10:03:00;t=1,7;n=10",
		header: "at | t | n", units: " |  | ", decimal: ",", line: 1, first: "2026-01-05T10:00:00 | 1,5 | 1001", last: "2026-01-05T10:03:00 | 1,7 | ", rows: 4, codes: "file-cut"},
	{name: "headerless", text: "27.May.2021,16:23:42,22.00,71.60\n27.May.2021,16:24:2,22.00,71.60\n",
		header: " |  |  | ", units: " |  |  | ", sep: ",", decimal: ".", line: 0,
		first: "27.May.2021 | 16:23:42 | 22.00 | 71.60", last: "27.May.2021 | 16:24:2 | 22.00 | 71.60", rows: 2},
	{name: "header 0 in the farm file", text: "a,b\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.5\n", opt: Options{Header: line(0)},
		header: " | ", units: " | ", sep: ",", decimal: ".", line: 0, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:01 | 1.5", rows: 2},
	{name: "header line from the farm file", text: "a,b\nx,y\n1,2\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.5\n", opt: Options{Header: line(2)},
		header: "x | y", units: " | ", sep: ",", decimal: ".", line: 2, first: "1 | 2", last: "2026-01-05 10:01 | 1.5", rows: 3},
	{name: "footers", text: "time;kWh\n2026-01-05;12,5\n2026-01-06;13,5\nTotal;26,0\nEnd of file\n",
		header: "time | kWh", units: " | kWh", sep: ";", decimal: ",", line: 1, first: "2026-01-05 | 12,5", last: "2026-01-06 | 13,5", rows: 2, codes: "footer footer"},
	{name: "header repeated in the middle", text: "time,a\n,°C\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.6\ntime,a\n,°C\n2026-01-05 10:02,1.7\n2026-01-05 10:03,1.8\n",
		header: "time | a", units: " | °C", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:03 | 1.8", rows: 4, codes: "repeated-header repeated-header"},
	{name: "two tables", text: "time,a\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.6\n2026-01-05 10:02,1.6\n\ntime,b,c\n2026-01-05 10:00,7.5,1.0\n2026-01-05 10:01,7.6,1.0\n2026-01-05 10:02,7.6,1.0\n",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:02 | 1.6", rows: 3, tables: 2},
	{name: "second table chosen", text: "time,a\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.6\n2026-01-05 10:02,1.6\n\ntime,b,c\n2026-01-05 10:00,7.5,1.0\n2026-01-05 10:01,7.6,1.0\n2026-01-05 10:02,7.6,1.0\n", opt: Options{Table: 2},
		header: "time | b | c", units: " |  | ", sep: ",", decimal: ".", line: 6, first: "2026-01-05 10:00 | 7.5 | 1.0", last: "2026-01-05 10:02 | 7.6 | 1.0", rows: 3},
	{name: "columns swapped by a restart, no blank line", text: "time,in,out\n2026-01-05 10:00,1.5,2.5\n2026-01-05 10:01,1.6,2.5\n2026-01-05 10:02,1.6,2.5\ntime,out,in\n2026-01-05 10:03,2.5,1.5\n2026-01-05 10:04,2.5,1.5\n2026-01-05 10:05,2.5,1.5\n",
		header: "time | in | out", units: " |  | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5 | 2.5", last: "2026-01-05 10:02 | 1.6 | 2.5", rows: 3, tables: 2},
	{name: "the same header under a name of its own", text: "Device: A\ntime,a\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.6\n2026-01-05 10:02,1.6\nDevice: B\ntime,a\n2026-01-05 10:00,2.5\n2026-01-05 10:01,2.5\n2026-01-05 10:02,2.5\n",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 2, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:02 | 1.6", rows: 3, codes: "not-a-row", tables: 2},
	{name: "trailing separators", text: "time;a;\n2026-01-05 10:00;1,5;\n2026-01-05 10:01;1,6;\n",
		header: "time | a", units: " | ", sep: ";", decimal: ",", line: 1, first: "2026-01-05 10:00 | 1,5", last: "2026-01-05 10:01 | 1,6", rows: 2},
	{name: "trailing separators in rows only", text: "time;a\n2026-01-05 10:00;1,5;\n2026-01-05 10:01;1,6;\n",
		header: "time | a", units: " | ", sep: ";", decimal: ",", line: 1, first: "2026-01-05 10:00 | 1,5", last: "2026-01-05 10:01 | 1,6", rows: 2},
	{name: "line too short and line too long", text: "time,a,b\n2026-01-05 10:00,1.5,2.5\n2026-01-05 10:01,1.6\n2026-01-05 10:02,1.6,2,5\n2026-01-05 10:03,1.7,2.5\n",
		header: "time | a | b", units: " |  | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5 | 2.5", last: "2026-01-05 10:03 | 1.7 | 2.5", rows: 4, codes: "short-line long-line"},
	{name: "stray quote", text: "time,note,a\n2026-01-05 10:00,\"3/4 pipe,1.5\n2026-01-05 10:01,ok,1.6\n2026-01-05 10:02,\"say \"\"hot\"\"\",1.7\n",
		header: "time | note | a", units: " |  | ", sep: ",", decimal: ".", line: 1, first: `2026-01-05 10:00 | "3/4 pipe | 1.5`, last: `2026-01-05 10:02 | say "hot" | 1.7`, rows: 3, codes: "stray-quote"},
	{name: "line break inside quotes", text: "time,\"Loop out\n(°C)\",note\n2026-01-05 10:00,1.5,\"one\ntwo\"\n2026-01-05 10:01,1.6,\n",
		header: "time | Loop out (°C) | note", units: " | °C | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5 | one\ntwo", last: "2026-01-05 10:01 | 1.6 | ", rows: 2},
	{name: "CR alone", text: "time,a\r2026-01-05 10:00,1.5\r2026-01-05 10:01,1.6\r",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:01 | 1.6", rows: 2},
	{name: "mixed line ends and blank lines", text: "time,a\r\r\n\r\n2026-01-05 10:00,1.5\n\n2026-01-05 10:01,1.6\r2026-01-05 10:02,1.7",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:02 | 1.7", rows: 3},
	{name: "point for thousands, comma for decimals", text: "Zeit;Zähler kWh;T\n05.01.2026 10:00;1.234,5;7,5\n05.01.2026 10:01;1.235;7,5\n",
		header: "Zeit | Zähler kWh | T", units: " | kWh | ", sep: ";", decimal: ",", thousand: ".", line: 1, first: "05.01.2026 10:00 | 1.234,5 | 7,5", last: "05.01.2026 10:01 | 1.235 | 7,5", rows: 2},
	{name: "comma for thousands between semicolons", text: "time;hPa;T\n2026-01-05 10:00;1,012.7;7.5\n2026-01-05 10:01;1,012;7.5\n",
		header: "time | hPa | T", units: " | hPa | ", sep: ";", decimal: ".", thousand: ",", line: 1, first: "2026-01-05 10:00 | 1,012.7 | 7.5", last: "2026-01-05 10:01 | 1,012 | 7.5", rows: 2},
	{name: "apostrophes", text: "time;L\n2026-01-05 10:00;1'234.5\n2026-01-05 10:01;12'235.0\n",
		header: "time | L", units: " | ", sep: ";", decimal: ".", thousand: "'", line: 1, first: "2026-01-05 10:00 | 1'234.5", last: "2026-01-05 10:01 | 12'235.0", rows: 2},
	{name: "blanks for thousands", text: "time;L\n05.01.2026 10:00;1 234,5\n05.01.2026 10:01;12 235,0\n",
		header: "time | L", units: " | ", sep: ";", decimal: ",", thousand: " ", line: 1, first: "05.01.2026 10:00 | 1 234,5", last: "05.01.2026 10:01 | 12 235,0", rows: 2},
	{name: "three decimals behind a point are decimals", text: "time,T\n2026-01-05 10:00,12.513\n2026-01-05 10:01,12.866\n",
		header: "time | T", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 12.513", last: "2026-01-05 10:01 | 12.866", rows: 2},
	{name: "three digits behind a comma, whole numbers beside", text: "time;L\n2026-01-05 10:00;998\n2026-01-05 10:01;1,003\n",
		header: "time | L", units: " | ", sep: ";", decimal: ".", thousand: ",", line: 1, first: "2026-01-05 10:00 | 998", last: "2026-01-05 10:01 | 1,003", rows: 2, codes: "decimal-mark"},
	{name: "three digits behind a comma always", text: "time;L\n2026-01-05 10:00;12,998\n2026-01-05 10:01;13,003\n",
		header: "time | L", units: " | ", sep: ";", decimal: ",", line: 1, first: "2026-01-05 10:00 | 12,998", last: "2026-01-05 10:01 | 13,003", rows: 2, codes: "decimal-mark"},
	{name: "both decimal marks", text: "time;L\n2026-01-05 10:00;12.5\n2026-01-05 10:01;12.5\n2026-01-05 10:02;13,5\n",
		header: "time | L", units: " | ", sep: ";", decimal: ".", line: 1, first: "2026-01-05 10:00 | 12.5", last: "2026-01-05 10:02 | 13,5", rows: 3, codes: "decimal-mark"},
	{name: "whole numbers only", text: "time,on\n2026-01-05 10:00,1\n2026-01-05 10:01,0\n",
		header: "time | on", units: " | ", sep: ",", decimal: "", line: 1, first: "2026-01-05 10:00 | 1", last: "2026-01-05 10:01 | 0", rows: 2},
	{name: "NULs after a power cut", text: "time,a\n2026-01-05 10:00,1.5\n\x00\x00\x00\x00\x002026-01-05 10:05,1.6\n2026-01-05 10:06,1.7\n",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:06 | 1.7", rows: 3, codes: "nul-bytes"},
	{name: "event log with tags", text: "at;tag;value\n2026-01-05 10:00:01;pump;on\n2026-01-05 10:00:07;loop out;12,5\n2026-01-05 10:09:30;pump;off\n",
		header: "at | tag | value", units: " |  | ", sep: ";", decimal: ",", line: 1, first: "2026-01-05 10:00:01 | pump | on", last: "2026-01-05 10:09:30 | pump | off", rows: 3},
	{name: "event rows between readings", text: "#,Date-Time (UTC),T (°C ),Host Connected\n1,05/13/2022 08:47:11,,In\n2,05/13/2022 09:00:00,16.685,\n3,05/13/2022 09:05:00,16.707,\n",
		header: "# | Date-Time (UTC) | T (°C ) | Host Connected", units: " |  | °C | ", sep: ",", decimal: ".", line: 1, first: "1 | 05/13/2022 08:47:11 |  | In", last: "3 | 05/13/2022 09:05:00 | 16.707 | ", rows: 3},
	{name: "metadata table above", text: "Name,Start,Interval,Count,Units\nC1,Wed Jan 31 2024 18:10:17 GMT-0700 (Mountain Standard Time),3600,6000,Celsius\nindex,date,t\n0,Fri May 26 2023 20:10:17 GMT-0600 (Mountain Daylight Time),1.4\n1,Fri May 26 2023 21:10:17 GMT-0600 (Mountain Daylight Time),0.1\n2,Fri May 26 2023 22:10:17 GMT-0600 (Mountain Daylight Time),-2.4\n",
		header: "index | date | t", units: " |  | ", sep: ",", decimal: ".", line: 3, first: "0 | Fri May 26 2023 20:10:17 GMT-0600 (Mountain Daylight Time) | 1.4",
		last: "2 | Fri May 26 2023 22:10:17 GMT-0600 (Mountain Daylight Time) | -2.4", rows: 3},
	{name: "epoch seconds", text: "ts,loop_flow_l_min,tank_temp_C\n1767607200,12.5,48.0\n1767607260,12.5,48.1\n",
		header: "ts | loop_flow_l_min | tank_temp_C", units: " | l/min | C", sep: ",", decimal: ".", line: 1, first: "1767607200 | 12.5 | 48.0", last: "1767607260 | 12.5 | 48.1", rows: 2},
	{name: "units with the numbers", text: "time,Loop out\n2026-01-05 10:00,12.5 °C\n2026-01-05 10:01,12.6 °C\n",
		header: "time | Loop out", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 12.5 °C", last: "2026-01-05 10:01 | 12.6 °C", rows: 2},
	{name: "missing readings of many kinds", text: "time,a,b\n2026-01-05 10:00,---,NaN\n2026-01-05 10:01,OL,1.5\n2026-01-05 10:02,,\n2026-01-05 10:03,2.5,n/a\n",
		header: "time | a | b", units: " |  | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | --- | NaN", last: "2026-01-05 10:03 | 2.5 | n/a", rows: 4, codes: "error-words"},
	{name: "remark in the middle", text: "time,a,b\n2026-01-05 10:00,1.5,2.5\nbattery changed\n2026-01-05 10:02,1.5,2.5\n",
		header: "time | a | b", units: " |  | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5 | 2.5", last: "2026-01-05 10:02 | 1.5 | 2.5", rows: 2, codes: "not-a-row"},
	{name: "damaged stamp kept for the loader", text: "time,a,b\n2026-01-05 10:00,1.5,2.5\n,1.6,2.6\n????,1.7,2.7\n2026-01-05 10:03,1.8,2.8\n",
		header: "time | a | b", units: " |  | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5 | 2.5", last: "2026-01-05 10:03 | 1.8 | 2.8", rows: 4},
	{name: "cut in the last number", text: "time,a\n2026-01-05 10:00,11.5\n2026-01-05 10:01,11.6\n2026-01-05 10:02,11.7\n2026-01-05 10:03,1",
		header: "time | a", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 11.5", last: "2026-01-05 10:03 | ", rows: 4, codes: "file-cut"},
	{name: "milking list", text: "date,start,end,milk (L),in °C\n2026-01-05,05:20,07:05,812,18.4\n2026-01-05,15:50,17:35,640,18.2\n",
		header: "date | start | end | milk (L) | in °C", units: " |  |  | L | °C", sep: ",", decimal: ".", line: 1, first: "2026-01-05 | 05:20 | 07:05 | 812 | 18.4", last: "2026-01-05 | 15:50 | 17:35 | 640 | 18.2", rows: 2},
	{name: "header only", text: "time,Loop in,Loop out\n", header: "time | Loop in | Loop out", units: " |  | ", sep: ",", line: 1, rows: 0, codes: "no-rows"},
	{name: "particulars of two cells above two columns", text: "Device,Yard 1\nSerial,1234\ntime,T\n2026-01-05 10:00,1.5\n2026-01-05 10:01,1.5\n2026-01-05 10:02,1.6\n",
		header: "time | T", units: " | ", sep: ",", decimal: ".", line: 3, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:02 | 1.6", rows: 3},
	{name: "every line quoted as a whole", text: "\"time,T\"\n\"2026-01-05 10:00,1.5\"\n\"2026-01-05 10:01,1.6\"\n",
		header: "time | T", units: " | ", sep: ",", decimal: ".", line: 1, first: "2026-01-05 10:00 | 1.5", last: "2026-01-05 10:01 | 1.6", rows: 2},
	{name: "stamps alone, one a pulse", text: "2026-01-05 10:00:01\n2026-01-05 10:00:09\n2026-01-05 10:01:30\n",
		header: "", units: "", sep: "", line: 0, first: "2026-01-05 10:00:01", last: "2026-01-05 10:01:30", rows: 3},
	{name: "unit by stroke", text: "Time;Temp/°C;flow m³/h;Tank C\n2026-01-05 10:00;1,5;2,5;3,5\n2026-01-05 10:01;1,5;2,5;3,5\n",
		header: "Time | Temp/°C | flow m³/h | Tank C", units: " | °C | m³/h | ", sep: ";", decimal: ",", line: 1, first: "2026-01-05 10:00 | 1,5 | 2,5 | 3,5", last: "2026-01-05 10:01 | 1,5 | 2,5 | 3,5", rows: 2},
}

func TestLayouts(t *testing.T) {
	for _, l := range layouts {
		t.Run(l.name, func(t *testing.T) {
			tables := mustRead(t, "log.csv", []byte(l.text), l.opt)
			if len(tables) != max(l.tables, 1) {
				t.Fatalf("want %d tables, got %d", max(l.tables, 1), len(tables))
			}
			got := tables[0]
			same(t, "header", l.header, joined(got.Header))
			same(t, "units", l.units, joined(got.Units))
			same(t, "separator", l.sep, got.Separator)
			same(t, "decimal", l.decimal, got.Decimal)
			same(t, "thousands", l.thousand, got.Thousands)
			same(t, "header line", l.line, got.HeaderLine)
			same(t, "problems", l.codes, codesOf(got.Problems))
			if len(got.Rows) != l.rows {
				t.Fatalf("want %d rows, got %d: %v", l.rows, len(got.Rows), got.Rows)
			}
			if l.rows > 0 {
				same(t, "first row", l.first, joined(got.Rows[0].Cells))
				same(t, "last row", l.last, joined(got.Rows[l.rows-1].Cells))
			}
			for _, r := range got.Rows {
				same(t, "cells of a row", len(got.Header), len(r.Cells))
			}
		})
	}
}

// What is certain in a broken line stays; what may have been shifted does not.
func TestBrokenLinesKeepWhatIsCertain(t *testing.T) {
	text := "time,a,b\n2026-01-05 10:00,1.5,2.5\n2026-01-05 10:01,1.6\n2026-01-05 10:02,1,6,2.5\n2026-01-05 10:03,1.7,2.5\n"
	got := mustRead(t, "log.csv", []byte(text), Options{})[0]
	same(t, "short line", []string{"2026-01-05 10:01", "1.6", ""}, got.Rows[1].Cells)
	same(t, "long line", []string{"2026-01-05 10:02", "", ""}, got.Rows[2].Cells)
	same(t, "lines of problems", []int{3, 4}, []int{got.Problems[0].Line, got.Problems[1].Line})
}

// Line numbers count lines of the file, whatever ends them.
func TestLineNumbers(t *testing.T) {
	for _, end := range []string{"\n", "\r\n", "\r", "\r\r\n"} {
		text := strings.ReplaceAll("made by us\n\ntime,note,a\n2026-01-05 10:00,\"x\ny\",1.5\n2026-01-05 10:01,z,1.5\n2026-01-05 10:02,z,1.5\n", "\n", end)
		got := mustRead(t, "log.csv", []byte(text), Options{})[0]
		same(t, "lines with "+end, []int{3, 4, 6, 7}, []int{got.HeaderLine, got.Rows[0].Line, got.Rows[1].Line, got.Rows[2].Line})
	}
}
