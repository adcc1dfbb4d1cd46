"""Words that people put into cells: for yes and no in many languages, and for "not known".

The words are dictionary words (Unicode CLDR, "posix" messages yesstr and nostr, has them for most of these languages).
"""

from collections.abc import Mapping

_YES = """yes y true t 1 on x ✓ ✔ ☑ ja j oui o si sí sì sim s da tak ano áno igen evet kyllä jah jā taip po ndiyo
wahr vrai verdadero verdadeiro vero waar sant prawda
да так ναι ναί 是 对 はい 예 네 כן نعم हाँ"""
_NO = """no n false f 0 off ✗ ✘ ☐ nein non não nao nee nej nei ne nie nem hayır hayir ei ē nē hapana
falsch faux falso onwaar falskt falsk fałsz
нет не ні όχι οχι 否 不 いいえ 아니요 아니오 לא لا नहीं"""
_TRUTHS: Mapping[str, bool] = {
    **{word.casefold(): True for word in _YES.split()},
    **{word.casefold(): False for word in _NO.split()},
}
ENGLISH_TRUTHS = frozenset(["yes", "y", "true", "t", "1", "no", "n", "false", "f", "0"])

# What stands where nothing is known, and what a probe that got no answer leaves.
_UNKNOWN_WORDS = """n/a na n.a n.a. n/d nd none null nil unknown tbd tbc ? ?? ??? - -- --- – — … ... . *
unbekannt k.a. k.a inconnu desconocido sconosciuto onbekend okänd timeout timed-out unreachable lost
brak nieznane nieznany keine keiner kein fehlt offen n.v. n.v k.w. entfällt inconnue néant aucun aucune absent n.c.
s/d s.d. ninguno ninguna nessuno nessuna assente geen saknas okänt ukjent ukendt chybí neznámé nincs ismeretlen yok
puuttuu desconhecido nenhum нет_данных неизвестно 不明 未知 missing unmeasured"""
_UNKNOWN_PHRASES = """not known;not available;not measured;to be confirmed;to be done;time out;timed out
keine angabe;nicht gemessen;nicht erreichbar;nicht bekannt;non mesuré;non mesurée;non disponible;non connu;non joignable
sin dato;sin datos;no medido;no disponible;sin respuesta;no responde;non misurato;non disponibile;nessuna risposta
niet gemeten;niet bekend;geen antwoord;brak danych;nie zmierzono;nie dotyczy;brak odpowiedzi;neměřeno;není známo
ej mätt;ikke målt;não medido;sem dados;not applicable;no data;time-out;not tested;not reachable;нет данных
request timed out;request timed out.;no reply;no answer;no response;host unreachable;destination host unreachable"""
_UNKNOWN = frozenset(_UNKNOWN_WORDS.split()) | frozenset(_UNKNOWN_PHRASES.replace("\n", ";").split(";"))


def truth_of(word: str) -> bool | None:
    """Return what a word for yes or no means in any of the languages; None for any other word.

    >>> truth_of("Ja"), truth_of("όχι"), truth_of("maybe")
    (True, False, None)
    """
    return _TRUTHS.get(word.casefold())


_NO_ANSWER_STEMS = (
    "timeout",
    "timed",
    "time out",
    "time-out",
    "lost",
    "no reply",
    "no answer",
    "no response",
    "verloren",
)
_UNREACHABLE_STEMS = ("unreach", "not reach", "nicht erreich", "non joign", "no dispon", "host unreach", "destination")


def why_unknown(text: str) -> str:
    """Return what a word for a time that is not known says: ``no_answer``, ``unreachable``, or ``value_unknown``.

    >>> why_unknown("Request timed out."), why_unknown("unreachable"), why_unknown("n/a")
    ('no_answer', 'unreachable', 'value_unknown')
    """
    folded = text.casefold()
    if any(stem in folded for stem in _UNREACHABLE_STEMS):
        return "unreachable"
    return "no_answer" if any(stem in folded for stem in _NO_ANSWER_STEMS) else "value_unknown"


def is_unknown(text: str) -> bool:
    """Return whether a text only says that a value is not known, or that a probe had no answer."""
    return text.casefold() in _UNKNOWN
