package clock

import "strings"

// months by the shortest forms in which they are told apart, in English,
// German, French, Dutch, Spanish, Italian, Portuguese, Polish and the
// Scandinavian languages (common practice, no source). A word is a month if
// one of these begins it and it is no longer than a month's name.
var months = [12][]string{
	{"jan", "jän", "gen", "ene", "sty", "tammi"},
	{"feb", "fév", "fev", "lut", "helmi"},
	{"mar", "mär", "mrz", "maa", "mrt"},
	{"apr", "avr", "abr", "kwi", "huhti"},
	{"may", "mai", "mei", "mag", "maj", "touko"},
	{"jun", "juin", "giu", "cze", "kesä"},
	{"jul", "juil", "lug", "lip", "heinä"},
	{"aug", "aoû", "aou", "ago", "sie", "elo"},
	{"sep", "set", "wrz", "syys"},
	{"oct", "okt", "ott", "out", "paź", "loka"},
	{"nov", "lis", "marras"},
	{"dec", "dez", "déc", "dic", "gru", "joulu"},
}

// monthOf is the month that a lower-case word names, 0 for none.
func monthOf(word string) int {
	if len(word) < 3 || len(word) > 12 {
		return 0
	}
	if strings.HasPrefix(word, "marras") {
		return 11
	}
	for m, forms := range months {
		for _, f := range forms {
			if strings.HasPrefix(word, f) {
				return m + 1
			}
		}
	}
	return 0
}

// weekdays that may lead a date; they say nothing that the date does not.
var weekdays = words(`mon tue wed thu fri sat sun tues wednes thur thurs monday tuesday wednesday thursday friday
 saturday sunday mo di mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag
 lun mar mer jeu ven sam dim lundi mardi mercredi jeudi vendredi samedi dimanche
 ma wo vr za zo maandag dinsdag woensdag donderdag vrijdag zaterdag zondag
 mié mie jue vie sáb sab dom lunes martes miércoles jueves viernes sábado domingo
 gio lunedì martedì mercoledì giovedì venerdì sabato domenica`)

// fillers are small words that stand inside written stamps.
var fillers = words(`at am um uhr h de del den der le il à alle ore kl klo st nd rd th er`)

func words(list string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(list) {
		set[w] = true
	}
	return set
}
