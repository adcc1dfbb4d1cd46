"""Words that people write for how far something is, in the languages that the planner's readers know.

The words are dictionary words, and those of the messages in Unicode CLDR where it has them.
"""

from __future__ import annotations

from collections.abc import Mapping

from planner.intake.names import plain

_WORDS: Mapping[str, str] = {
    "done": """done complete completed finished closed ok okay yes y x ✓ ✔ ☑ migrated moved installed retired
        erledigt fertig abgeschlossen umgezogen ja fait faite terminé terminée fini oui hecho hecha terminado terminada
        completado listo sí si fatto fatta completato finito feito feita concluído concluida concluído pronto sim
        gereed klaar afgerond voltooid klar färdig slutförd ferdig fullført færdig afsluttet valmis tehty
        zrobione gotowe zakończone wykonano hotovo dokončeno kész elkészült gata terminat bitti tamamlandı
        готово сделано выполнено завершено 完了 完成 已完成 완료""",
    "planned": """planned scheduled booked started ongoing running wip in_progress in_work under_way underway
        geplant terminiert angefangen begonnen läuft in_arbeit prévu prévue planifié planifiée en_cours
        previsto prevista planificado programado en_curso en_proceso pianificato programmato in_corso planejado planeado
        em_curso em_andamento gepland bezig planerad pågår pågående planlagt i_gang suunniteltu kesken
        zaplanowane w_toku naplánováno probíhá tervezett folyamatban planificat planlandı devam_ediyor
        запланировано в_работе 予定 计划 进行中 예정""",
    "blocked": """blocked stuck on_hold hold waiting failed stopped problem blockiert gesperrt wartet gestoppt
        fehlgeschlagen bloqué bloquée en_attente échec bloqueado bloqueada en_espera detenido bloccato bloccata
        in_attesa bloqueada impedido em_espera geblokkeerd wacht wachtend blockerad väntar blokkert venter
        blokeret blokkeret estetty
        zablokowane wstrzymane oczekuje blokováno čeká blokkolt blocat engellendi beklemede
        заблокировано ждёт ждет 保留 阻塞 보류""",
    "open": """open todo to_do pending not_started new no n offen ausstehend nein ouvert ouverte à_faire non
        abierto abierta pendiente por_hacer aperto aperta da_fare aberto aberta a_fazer nee te_doen öppen nej
        ej_påbörjad åpen åben avoin otwarte do_zrobienia nie otevřeno nyitott deschis açık
        открыто нет 未着手 未完成 미완료""",
    "not needed": """not_needed unneeded none n_a na not_applicable nicht_nötig entfällt unnötig pas_nécessaire inutile
        sans_objet no_necesario innecesario non_necessario desnecessário niet_nodig behövs_inte ikke_nødvendig
        ei_tarvita niepotrzebne není_třeba nem_kell gerekmez не_нужно 不要 불필요""",
}


def _key(text: str) -> str:
    """Return a text as texts are compared; signs such as a tick are their own key."""
    return plain(text) or text.strip()


_MEANING = {_key(word.replace("_", " ")): status for status, words in _WORDS.items() for word in words.split()}


def status_of(text: str, answers: Mapping[str, str]) -> str | None:
    """Return which status a text means; None where it is none, blank included.

    ``answers`` maps further texts, letter case aside, and comes first.

    >>> status_of("Erledigt!", {}), status_of("in progress", {}), status_of("halb", {"Halb": "open"})
    ('done', 'planned', 'open')
    """
    asked = {_key(word): status for word, status in answers.items()}
    return asked.get(_key(text)) or _MEANING.get(_key(text))
