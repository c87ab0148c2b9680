package celltext

import (
	"strings"
	"sync"
	"unicode/utf8"
)

// monthNames are the months' names, January first, in nominative and, where a
// date declines them, genitive; a name is also known by its first letters, from
// three on (source: Unicode CLDR, months in format and stand-alone form, from
// memory; without Arabic, Hebrew and the languages of India).
var monthNames = [...]string{
	"january february march april may june july august september october november december", // English
	"januar|jänner februar|feber märz|maerz april mai juni juli august september oktober november dezember",
	"janvier février|fevrier mars avril mai juin juillet août|aout septembre octobre novembre décembre|decembre",
	"januari februari maart april mei juni juli augustus september oktober november december",
	"enero febrero marzo abril mayo junio julio agosto septiembre|setiembre octubre noviembre diciembre",
	"gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
	"janeiro fevereiro março|marco abril maio junho julho agosto setembro outubro novembro dezembro",
	"gener febrer març abril maig juny juliol agost setembre octubre novembre desembre",                                                // Catalan
	"ianuarie februarie martie aprilie mai iunie iulie august septembrie octombrie noiembrie decembrie",                                // Romanian
	"januar februar marts april maj juni juli august september oktober november december",                                              // Danish
	"januar februar mars april mai juni juli august september oktober november desember",                                               // Norwegian
	"januari februari mars april maj juni juli augusti september oktober november december",                                            // Swedish
	"janúar febrúar mars apríl maí júní júlí ágúst september október nóvember desember",                                                // Icelandic
	"tammikuuta helmikuuta maaliskuuta huhtikuuta toukokuuta kesäkuuta heinäkuuta elokuuta syyskuuta lokakuuta marraskuuta joulukuuta", // Finnish
	"jaanuar veebruar märts aprill mai juuni juuli august september oktoober november detsember",                                       // Estonian
	"janvāris februāris marts aprīlis maijs jūnijs jūlijs augusts septembris oktobris novembris decembris",                             // Latvian
	"sausio vasario kovo balandžio gegužės birželio liepos rugpjūčio rugsėjo spalio lapkričio gruodžio",                                // Lithuanian
	"stycznia|styczeń lutego|luty marca|marzec kwietnia|kwiecień maja|maj czerwca|czerwiec lipca|lipiec sierpnia|sierpień września|wrzesień października|październik listopada|listopad grudnia|grudzień",
	"ledna|leden února|únor března|březen dubna|duben května|květen června|červen července|červenec srpna|srpen září října|říjen listopadu|listopad prosince|prosinec",
	"januára|január februára|február marca|marec apríla|apríl mája|máj júna|jún júla|júl augusta|august septembra|september októbra|október novembra|november decembra|december",
	"január február március április május június július augusztus szeptember október november december", // Hungarian
	"januar februar marec april maj junij julij avgust september oktober november december",             // Slovenian
	"siječnja|siječanj veljače|veljača ožujka|ožujak travnja|travanj svibnja|svibanj lipnja|lipanj srpnja|srpanj kolovoza|kolovoz rujna|rujan listopada|listopad studenoga|studeni prosinca|prosinac",
	"ocak şubat mart nisan mayıs haziran temmuz ağustos eylül ekim kasım aralık", // Turkish
	"ιανουαρίου|ιανουάριος φεβρουαρίου|φεβρουάριος μαρτίου|μάρτιος απριλίου|απρίλιος μαΐου|μάιος|μαϊ ιουνίου|ιούνιος ιουλίου|ιούλιος αυγούστου|αύγουστος σεπτεμβρίου|σεπτέμβριος οκτωβρίου|οκτώβριος νοεμβρίου|νοέμβριος δεκεμβρίου|δεκέμβριος",
	"января|январь февраля|февраль марта|март апреля|апрель мая|май июня|июнь июля|июль августа|август сентября|сентябрь октября|октябрь ноября|ноябрь декабря|декабрь",
	"січня|січень лютого|лютий березня|березень квітня|квітень травня|травень червня|червень липня|липень серпня|серпень вересня|вересень жовтня|жовтень листопада|листопад грудня|грудень",
	"януари февруари март април май юни юли август септември октомври ноември декември",
	"јануар фебруар март април мај јун јул август септембар октобар новембар децембар",
}

// monthShort are short forms that do not begin the name.
var monthShort = [12]string{"jän", "", "mar mär mrz mrt", "", "", "čvn", "čvc", "", "setm", "", "", "des"}

// contested begin the names of different months: what they are read as, and in
// which languages they are another (lip: July in Polish, June in Croatian).
var contested = map[string]int{"lip": 7, "srp": 8, "lis": 11, "list": 11, "listo": 11, "listop": 11, "listopa": 11, "listopad": 11, "listopada": 11}

// monthsByWord has every form; 0 = begins the names of several months.
var monthsByWord = sync.OnceValue(func() map[string]int {
	byWord, whole := map[string]int{}, map[string]int{}
	for _, names := range monthNames {
		for m, forms := range strings.Fields(names) {
			for _, name := range strings.Split(forms, "|") {
				whole[name] = m + 1
				n := 0
				for i := range name + " " {
					if n >= 3 {
						was, seen := byWord[name[:i]]
						if byWord[name[:i]] = m + 1; seen && was != m+1 {
							byWord[name[:i]] = 0
						}
					}
					n++
				}
			}
		}
	}
	for m, list := range monthShort {
		for _, w := range strings.Fields(list) {
			byWord[w] = m + 1
		}
	}
	for name, m := range whole {
		byWord[name] = m // červen, though července begins with it
	}
	for w, m := range contested {
		byWord[w] = m
	}
	return byWord
})

// Month is the month that a word names, in any case of letters; 0 = none. open:
// in another language the word names another month.
func Month(word string) (month int, open bool) {
	if len(word) < 3 || len(word) > 32 || !utf8.ValidString(word) {
		return 0, false
	}
	word = strings.ReplaceAll(strings.ToLower(word), "\u0307", "")
	_, open = contested[word]
	return monthsByWord()[word], open
}
