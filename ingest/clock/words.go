package clock

import "strings"

// weekdays that may stand in a date; they say nothing that the date does not
// (common practice, no source).
var weekdays = words(`mon tue wed thu fri sat sun tues wednes thur thurs monday tuesday wednesday thursday friday
 saturday sunday mo di mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag
 lun mar mer jeu ven sam dim lundi mardi mercredi jeudi vendredi samedi dimanche
 ma wo vr za zo maandag dinsdag woensdag donderdag vrijdag zaterdag zondag
 mié mie jue vie sáb sab dom lunes martes miércoles jueves viernes sábado domingo
 gio lunedì martedì mercoledì giovedì venerdì sabato domenica
 seg ter qua qui sex segunda terça quarta quinta sexta feira pon wt śr czw pt sob niedz poniedziałek wtorek środa czwartek piątek sobota niedziela
 po út st čt pá so ne pondělí úterý středa čtvrtek pátek neděle hétfő kedd szerda csütörtök péntek szombat vasárnap
 mån tis ons tors tor fre lör sön måndag tisdag onsdag torsdag fredag lördag söndag man tir lør søn mandag tirsdag lørdag søndag
 ti ke to pe la su maanantai tiistai keskiviikko torstai perjantai lauantai sunnuntai
 пн вт ср чт пт сб вс понедельник вторник среда четверг пятница суббота воскресенье δευ τρι τετ πεμ παρ σαβ κυρ
 火 水 木 金 土 曜 火曜 水曜 木曜 金曜 土曜 월 화 수 목 금 토 월요 화요 수요 목요 금요 토요
 星期一 星期二 星期三 星期四 星期五 星期六 星期 周一 周二 周三 周四 周五 周六 週一 週二 週三 週四 週五 週六`)

// fillers are small words that stand inside written stamps, dateFillers those
// that stand in a date alone (common practice, no source).
var (
	fillers     = words(`at am um uhr h hrs de del den der le il à a alle ore kl klo klokken godz hod óra st nd rd th er час`)
	dateFillers = words(`do da of av d las los o ob r roku g god godine года году г м m gada rok bei`)
)

// untilWords stand between the two ends of an interval (common practice, no
// source).
var untilWords = words(`to until till bis à au al alle tot til do a até hasta`)

func words(list string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(list) {
		set[w] = true
	}
	return set
}
