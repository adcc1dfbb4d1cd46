"""Words that people write for how far something is, in the languages that the planner's readers know.

The words are dictionary words, and those of the messages in Unicode CLDR where it has them.
"""

from __future__ import annotations

from collections.abc import Mapping

from planner.intake.names import plain

_WORDS: Mapping[str, str] = {
    "done": """done ✅ complete completed finished closed ok okay yes y x ✓ ✔ ☑ migrated moved installed retired
        true 1 100 cut_over cutover switched switched_over live io i_o erledigt erl fertig_gestellt
        fertiggestellt umgestellt migriert umgeschaltet fertig abgeschlossen umgezogen ja fait faite réalisé
        réalisée effectué effectuée migré migrée basculé terminé terminée fini oui hecho hecha terminado
        terminada completado listo sí si fatto fatta completato finito effettuato fatte feito feita
        realizado realizada concluído concluida concluído pronto sim gereed klaar afgerond voltooid klar
        färdig slutförd ferdig utført fullført færdig afsluttet valmis tehty zrobione gotowe zakończone
        wykonano hotovo hotové dokončeno kész elkészült gata terminat bitti tamam tamamlandı готово сделано
        выполнено завершено 完了 完成 已完成 완료""",
    "planned": """planned scheduled booked started ongoing running wip in_progress in_work under_way underway geplant
        terminiert angefangen begonnen läuft läuft_noch in_arbeit in_bearbeitung teilweise partly half_done
        50 prévu prévue planifié planifiée en_cours previsto prevista planificado programado en_curso
        en_proceso pianificato programmato in_corso planejado planeado em_curso em_andamento gepland bezig
        in_uitvoering planerad pågår pågående planlagt i_gang suunniteltu kesken zaplanowane w_toku
        naplánováno probíhá v_procesu tervezett folyamatban planificat planlandı devam_ediyor запланировано
        в_работе 予定 進行中 计划 进行中 예정""",
    "blocked": """blocked stuck on_hold hold waiting failed stopped problem blockiert gesperrt wartet warten gestoppt
        fehlgeschlagen abgebrochen bloqué bloquée en_attente échec bloqueado bloqueada en_espera detenido
        bloccato bloccata in_attesa bloqueada impedido em_espera geblokkeerd wacht wachtend blockerad väntar
        blokkert venter blokeret blokkeret estetty zablokowane wstrzymane oczekuje blokováno čeká blokkolt
        blocat engellendi beklemede заблокировано ждёт ждет 保留 阻塞 보류""",
    "open": """open not_done undone false 0 todo to_do pending not_started new no n offen ausstehend nein
        nicht_erledigt nicht_fertig noch_nicht ouvert ouverte à_faire pas_fait non abierto abierta pendiente
        por_hacer no_hecho aperto aperta da_fare aberto aberta a_fazer nee te_doen nog_te_doen niet_klaar
        niet_gereed öppen nej ej_påbörjad åpen åben avoin otwarte do_zrobienia nie otevřeno nyitott deschis
        açık открыто нет 未着手 未完成 미완료""",
    "not needed": """not_needed unneeded none n_a na not_applicable nicht_nötig entfällt unnötig pas_nécessaire inutile
        sans_objet no_necesario innecesario non_necessario desnecessário niet_nodig behövs_inte
        ikke_nødvendig ei_tarvita niepotrzebne není_třeba nem_kell gerekmez не_нужно 不要 불필요""",
}


_AS_PICTURE = "\N{VARIATION SELECTOR-16}"  # behind a sign, it asks for its coloured form


def _key(text: str) -> str:
    """Return a text as texts are compared; signs such as a tick are their own key."""
    return plain(text) or text.strip().removesuffix(_AS_PICTURE)


_MEANING = {_key(word.replace("_", " ")): status for status, words in _WORDS.items() for word in words.split()}


def status_of(text: str, answers: Mapping[str, str]) -> str | None:
    """Return which status a text means; None where it is none, blank included.

    ``answers`` maps further texts, letter case aside, and comes first.

    >>> status_of("Erledigt!", {}), status_of("in progress", {}), status_of("halb", {"Halb": "open"})
    ('done', 'planned', 'open')
    """
    asked = {_key(word): status for word, status in answers.items()}
    return asked.get(_key(text)) or _MEANING.get(_key(text))
