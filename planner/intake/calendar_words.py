"""Names of months and of days of the week, in the languages of the planner's readers (Unicode CLDR, calendar names)."""

from __future__ import annotations

import re
from collections.abc import Mapping

_MONTHS = """january february march april may june july august september october november december
januar februar märz april mai juni juli august september oktober november dezember
janvier février mars avril mai juin juillet août septembre octobre novembre décembre
enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre
gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre
janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro
januari februari maart april mei juni juli augustus september oktober november december
januari februari mars april maj juni juli augusti september oktober november december
januar februar marts april maj juni juli august september oktober november desember
tammikuuta helmikuuta maaliskuuta huhtikuuta toukokuuta kesäkuuta heinäkuuta elokuuta syyskuuta lokakuuta marraskuuta joulukuuta
stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia
ledna února března dubna května června července srpna září října listopadu prosince
ocak şubat mart nisan mayıs haziran temmuz ağustos eylül ekim kasım aralık
января февраля марта апреля мая июня июля августа сентября октября ноября декабря
sty lut mrt kwi maj cze lip sie wrz paź lis gru
jän feb mrz apr mai čvn čvc srp zář říj lis pro"""  # noqa: E501
_DAYS = """monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun
montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag mo di mi do fr sa so
lundi mardi mercredi jeudi vendredi samedi dimanche lun mar mer jeu ven sam dim
lunes martes miércoles jueves viernes sábado domingo mié jue vie sáb dom
lunedì martedì mercoledì giovedì venerdì sabato domenica gio sab segunda terça quarta quinta sexta seg ter qua qui sex
maandag dinsdag woensdag donderdag vrijdag zaterdag zondag ma wo vr za zo
måndag tisdag onsdag torsdag fredag lördag söndag mandag tirsdag lørdag søndag mån tis ons tor fre lör sön lør søn
man tir poniedziałek wtorek środa czwartek piątek sobota niedziela pon wt śr czw pt sob nd
pondělí úterý středa čtvrtek pátek sobota neděle пн вт ср чт пт сб вс"""
_WEEKDAY = re.compile(rf"(?:{'|'.join(sorted(_DAYS.split(), key=len, reverse=True))})\.?,?\s+(?=\d)", re.I)

_BY_LANGUAGE = [line.split() for line in _MONTHS.splitlines()]
_WHOLE: Mapping[str, int] = {name: at for names in reversed(_BY_LANGUAGE) for at, name in enumerate(names, start=1)}


def month_of(word: str) -> int | None:
    """Return the month that a word names, whole or cut short; None where none does, or more than one.

    Cut short, a word is English first, since marraskuuta begins as March does.

    >>> month_of("März"), month_of("sept"), month_of("juil"), month_of("ju")
    (3, 9, 7, None)
    """
    folded = word.casefold()
    if folded in _WHOLE:
        return _WHOLE[folded]
    if len(folded) < len("jan"):
        return None
    for names in (_BY_LANGUAGE[0], _WHOLE):
        found = {_WHOLE[name] for name in names if name.startswith(folded)}
        if len(found) == 1:
            return found.pop()
    return None


def without_weekday(text: str) -> str:
    """Return a text without a day of the week before its first figure.

    >>> without_weekday("So. 7.3.2027"), without_weekday("before 7.3.2027")
    ('7.3.2027', 'before 7.3.2027')
    """
    return _WEEKDAY.sub("", text, count=1) if _WEEKDAY.match(text) else text
