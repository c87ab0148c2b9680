package web

import (
	"regexp"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/plant"
	"yardheat/analysis/season"
)

// whys are the reasons of the analysis that have words of their own in the
// catalogue; any other stands on the page as the report says it, in English.
var whys = map[string]string{
	season.WhyStage:                                 "why.stage",
	season.WhyNoLoop:                                "why.noloop",
	"the farm folder has no logs for it":            "why.nologs",
	"the readings do not give it":                   "why.readings",
	"given only for what was seen":                  "why.seen",
	account.WhyNoFlow:                               "why.noflow",
	account.WhyNoCold:                               "why.nocold",
	account.WhyNoHot:                                "why.nohot",
	account.WhyFluid:                                "why.fluid",
	account.WhyNoWashes:                             "why.nowashes",
	account.WhyNoTank:                               "why.notank",
	account.WhyNoCycle:                              "why.nocycle",
	account.WhyNoSurplus:                            "why.nosurplus",
	plant.WhyNoMilk:                                 "why.nomilk",
	plant.WhyNoCompressor:                           "why.nocompressor",
	plant.WhyNoCycles:                               "why.nocycles",
	plant.WhyNoGas:                                  "why.nogas",
	plant.WhyPrecooled:                              "why.precooled",
	"neither grid import nor solar power is logged": "why.nosolar",
}

// why is the reason for a figure that is missing, in the reader's language where
// the catalogue has it.
func (v *view) why(text string) phrase {
	if text == "" {
		return phrase{v.Say("why.readings"), ""}
	}
	if key, ok := whys[text]; ok {
		return phrase{v.Say(key), ""}
	}
	if v.Choice.Lang == "en" {
		return phrase{clean(text), ""}
	}
	return phrase{clean(text), "en"}
}

// measures are what the analysis proposes, by the words in which it does
// (analysis/season/improve.go; a test holds them to each other). Names in quotes
// are probes, the last number is what the measure leaves.
var measures = []struct {
	form *regexp.Regexp
	key  string
}{
	{regexp.MustCompile(`^hold (".*") in crushed ice and water and state its error and offset \((.*)\)$`), "measure.ice"},
	{regexp.MustCompile(`^hold (".*") and (".*") together in one bucket of stirred water and enter what they read under \[\[matched\]\] \((.*)\)$`), "measure.bucket"},
	{regexp.MustCompile(`^hold (".*") against the dairy's collection slips and state its error \((.*)\)$`), "measure.slips"},
	{regexp.MustCompile(`^weigh a bucket filled through (".*") and state its error \((.*)\)$`), "measure.weigh"},
	{regexp.MustCompile(`^read a kWh meter beside (".*") over a week and state its error \((.*)\)$`), "measure.kwh"},
	{regexp.MustCompile(`^weigh, or meter, the litres of a refill, state them as (.*) and enter its error \((.*)\)$`), "measure.refill"},
	{regexp.MustCompile(`^weigh what flows in a minute, state it as (.*) and enter its error \((.*)\)$`), "measure.minute"},
	{regexp.MustCompile(`^read the kWh meter over a week in place of the rating (.*) and enter its error \((.*)\)$`), "measure.rating"},
	{regexp.MustCompile(`^have the efficiency of what would heat the water instead tested, and state it to (.*)$`), "measure.efficiency"},
	{regexp.MustCompile(`^hold the milkings' litres against the dairy's collection slips and state their error \((.*)\)$`), "measure.litres"},
	{regexp.MustCompile(`^measure the pipe between the bed and the outlet probe and state loop\.lead_l$`), "measure.lead"},
}

// measure is what could be done, in the reader's language.
func (v *view) measure(text string) phrase {
	for _, m := range measures {
		got := m.form.FindStringSubmatch(text)
		if got == nil {
			continue
		}
		pairs := []any{}
		for i, name := range []string{"a", "b", "c"} {
			if i+1 < len(got) {
				pairs = append(pairs, name, v.Choice.Shown(clean(strings.ReplaceAll(got[i+1], `"`, ""))))
			}
		}
		return phrase{v.Say(m.key, pairs...), ""}
	}
	if v.Choice.Lang == "en" {
		return phrase{clean(text), ""}
	}
	return phrase{clean(text), "en"}
}

// sensor names a source of error; those that are no instrument have words.
func (v *view) sensor(name string) string {
	if key := "sensor." + strings.NewReplacer(" ", "_", "(", "", ")", "").Replace(name); v.c.Has(key) {
		return v.Say(key)
	}
	return clean(name)
}
