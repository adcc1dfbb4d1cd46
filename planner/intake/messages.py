"""One template for each finding code, so that wording stays even: severity, message, and how to mend it.

Slots come from the caller; ``{column}`` and ``{value}`` are always there for a cell, ``{cells}`` for a finding that
sums up many cells.
"""

from dataclasses import dataclass

from planner.fleet import Severity


@dataclass(frozen=True, slots=True)
class Template:
    """What a finding of one code says; ``message`` and ``hint`` may hold slots in braces."""

    severity: Severity
    message: str
    hint: str = ""
    repair: bool = False  # a cell or header was not as it should be, yet could be read


def _error(message: str, hint: str = "") -> Template:
    return Template("error", message, hint)


def _warning(message: str, hint: str = "") -> Template:
    return Template("warning", message, hint)


def _info(message: str, hint: str = "") -> Template:
    return Template("info", message, hint)


def _repair(severity: Severity, message: str, hint: str = "") -> Template:
    return Template(severity, message, hint, repair=True)


_SAVE_AS = "Save it as .xlsx, .xlsm or .ods, or give a folder of .csv files named after the sheets."
_RECALCULATE = "Open the workbook in a spreadsheet program, recalculate and save it, or paste the value."

_FILES = {
    "file_missing": _error("There is no such file or folder.", "Check the path."),
    "file_unreadable": _error("The file cannot be read: {reason}.", "Check its permissions."),
    "file_type": _error("This is not a workbook that can be read: {reason}.", _SAVE_AS),
    "file_encrypted": _error("The workbook is protected by a password.", "Save a copy without a password."),
    "file_damaged": _error("The file is damaged: {reason}.", "Open it in a spreadsheet program and save it anew."),
    "file_too_big": _error("The file is refused: {reason}.", "Remove what is no part of the fleet, or split it."),
    "folder_empty": _error("The folder holds no .csv file.", "Name the files after the sheets, such as Sites.csv."),
    "csv_encoding": _warning(
        "The text is not UTF-8; it was read as Windows-1252.", "Check letters with accents, or save it as UTF-8."
    ),
    "csv_undecodable": _error(
        "Line {line} holds a byte (0x{byte:02x}) that is neither UTF-8 nor Windows-1252.", "Save the file as UTF-8."
    ),
    "csv_broken": _error("The file cannot be read as CSV: {reason}.", "Check quotation marks and separators."),
}

_MAPPING = {
    "mapping_broken": _error("The mapping file cannot be read: {reason}.", "Make one with check --write-mapping."),
    "mapping_unknown": _error("{name} in the mapping file is not understood: {reason}.", "Correct or remove it."),
}

_SHEETS = {
    "mapping_sheet": _error(
        "The mapping says that {title} is the sheet {sheet}, but there is no such sheet.", "Correct it."
    ),
    "sheet_by_content": _warning(
        "This was read as the sheet {sheet}, by its title or its headers; no sheet is called so.",
        "Rename it to {sheet}, or name it in a mapping file.",
    ),
    "sheet_question": _error(
        "Which of these is the sheet {sheet}: {titles}?",
        'Rename it to {sheet}, or pin it in a mapping file: [{sheet}] sheet = "title".',
    ),
    "sheet_doubtful": _warning(
        "Several tables may be the sheet {sheet}, and none was read: {titles}.",
        'Rename one to {sheet}, or pin it in a mapping file: [{sheet}] sheet = "title".',
    ),
    "table_question": _error(
        "A second table of the sheet {sheet} begins here, with other columns than the first.",
        "Put its rows below those of the first table, or the table on a sheet of its own.",
    ),
    "table_unused": _warning(
        "A table that looks like the sheet {sheet} begins here; it was not read, since there is such a sheet.",
        "Move its rows to the sheet {sheet}, or remove it.",
    ),
    "sheet_hidden": _warning("The sheet is hidden; it was read.", "Delete it if it does not count."),
    "rows_hidden": _warning("Hidden rows were read: {rows}.", "Delete them if they do not count."),
    "columns_hidden": _info("Hidden columns were read: {columns}."),
    "header_two_rows": _info("The header was found in the two rows {rows}."),
    "header_again": _info("The row repeats the header and was left out."),
    "sheet_missing": _error("The sheet {sheet} is missing.", "Add it: {meaning}."),
    "sheet_repeated": _error("{titles} all stand for the sheet {sheet}.", "Keep one of them, or rename the others."),
    "sheet_unknown": _info("The sheet is not part of a fleet and was not read.", "{guess}"),
    "sheet_empty": _error("The sheet has no rows.", "Add {meaning}."),
    "rows_above": _info("The header was found in row {row}; what stands above it was not read."),
    "total_row": _warning("The row {value} looks like a total and was not read.", "Remove it if it is one."),
    "merged_cells": _repair(
        "warning",
        "Merged cells ({ranges}) were read as if each of them held the value of the first.",
        "Unmerge them and fill in every cell; a value may have been meant for all of them together.",
    ),
}

_HEADERS = {
    "columns_matched": _info("The headers in row {row} were read as these columns: {columns}."),
    "column_similar": _repair(
        "warning", "The column {header} was read as {known}, whose name is much like it.", "Rename it, or {pin}."
    ),
    "column_by_content": _repair(
        "warning",
        "The column {header} was read as {known}, since it holds such ids.",
        "Rename it to {known}, or {pin}.",
    ),
    "column_question": _error("Which column is {column}? It may be {headers}.", "Name it {column}, or {pin}."),
    "column_doubtful": _warning("The column {header} may be {meanings}; it was not used.", "Rename it, or {pin}."),
    "column_doubtful_twice": _warning(
        "Which column is {column}? It may be {headers}; none was used.", "Name one {column}, or {pin}."
    ),
    "mapping_header": _error(
        "The mapping says that {column} has the header {header}, but no column has it.", "Correct {mapping}."
    ),
    "mapping_header_twice": _error(
        "The mapping says that {column} has the header {header}, but several columns have it.",
        "Name it by its letter in {mapping}, such as =C.",
    ),
    "unit_converted": _repair(
        "info", "The header {header} says {unit}: the values were multiplied by {factor} to give {wanted}."
    ),
    "unit_bytes": _repair(
        "warning",
        "The header {header} says {unit}, bytes: the values were multiplied by {factor} to give {wanted}.",
        "Write {wanted} if bits are meant.",
    ),
    "way_doubled": _repair(
        "warning",
        "The header {header} says one way: the times were doubled.",
        "Measure round trips; the two directions may differ.",
    ),
    "way_halved": _repair(
        "warning", "The header {header} says round trip: the times were halved.", "Give the one-way delay."
    ),
    "unit_doubtful": _warning(
        "All round-trip times are at most {most}, read as ms, and no header says so.",
        "Say the unit in the header, such as RTT [s], if they are seconds.",
    ),
    "column_missing": _error("The column {column} is missing.", "Add it: {meaning}."),
    "column_repeated": _error("The columns {headers} ({letters}) mean the same.", "Keep one of them."),
    "column_unknown": _info("The column {header} is not one that the planner knows; it is kept and handed through."),
    "column_misspelt": _warning(
        "The column {header} is not one that the planner knows; it is kept, but not used.",
        "Rename it to {guess} if that is meant.",
    ),
    "header_blank": _warning("The column has values but no header and was not read.", "Give it a header or empty it."),
    "header_broken": _error("The header is {value}.", "Type the name of the column."),
}

_CELLS = {
    "cell_error": _error("{column} holds the error {value}.", "Correct the formula, or leave the cell blank."),
    "cell_error_unused": _warning("{column} holds the error {value}; it is handed through as blank."),
    "formula_unsaved": _error("{column} holds a formula whose result was never saved.", _RECALCULATE),
    "formula_unsaved_unused": _warning(
        "{column} holds a formula whose result was never saved; it is handed through as blank.", _RECALCULATE
    ),
    "required_blank": _error(
        "{column} is blank.", "Fill it in, or empty the row. Of merged cells only the first holds the value."
    ),
    "value_unknown": _repair(
        "warning",
        "{column} says that the value is not known in {cells}; it was read as blank.",
        "Leave the cell blank.",
    ),
    "text_steered": _repair(
        "warning",
        "{column}: control characters, or such as turn the direction of writing, were removed in {cells}.",
        "Check that the text is what it seems to be.",
    ),
    "text_cut": _repair("warning", "{column} has {length} characters; it was cut to the 32,767 that a cell holds."),
    "text_tidied": _repair(
        "info", "{column}: blanks at the ends, non-breaking or invisible characters were removed in {cells}."
    ),
}

_TEXTS = {
    "id_number": _info(
        "{column} is stored as a number in {cells}; leading zeros, if there were any, are lost.",
        "Format the column as text to keep ids as they are.",
    ),
    "id_long": _error("{column} has {length} characters; an id has at most 200.", "Shorten it."),
    "ids_alike": _warning("{value} looks like the id in {other}, but has other letters.", "Type one of them again."),
    "id_shown": _repair(
        "info", "{column} is a number that is shown with leading zeros in {cells}; the shown text was taken."
    ),
    "id_fraction": _warning("{column} {value} is a number with a fraction, which is unusual for an id."),
    "id_digits": _error(
        "{column} is a number of more than 15 digits, whose last digits a spreadsheet loses.",
        "Format the cell as text and type the id again.",
    ),
    "id_date": _error(
        "{column} is the date {value}, which may have been an id such as 3-4.",
        "Format the cell as text and type the id again.",
    ),
    "id_boolean": _repair("warning", "{column} is the truth value {value}; it was read as that word."),
    "ids_comma": _warning(
        "{column} {value} has a comma and no semicolon; it was read as a single entry.",
        "Separate several entries with a semicolon.",
    ),
    "release_number": _error(
        "{column} {value} is stored as a number, so it may have been {value}0.",
        "Store it as text, or give the cell a number format with the right decimals.",
    ),
    "release_shown": _repair("info", "{column} is stored as a number in {cells}; the shown decimals were taken."),
    "release_whole": _info("{column} is stored as a whole number in {cells} and was read as it stands."),
    "release_date": _error(
        "{column} is the date {value}; a spreadsheet may have made it from a version.",
        "Format the cell as text and type the version again.",
    ),
    "release_order": _error("{column}: {reason}."),
    "choice_word": _repair(
        "info", "{column} holds another word for yes or no in {cells}; it was read as in {example}."
    ),
    "choice_unknown": _error("{column} {value} is none of {choices}.", "{guess}"),
    "timezone_unknown": _error(
        "{column} {value} is no IANA time zone.", "Write a name such as Europe/London or UTC. {guess}"
    ),
    "window_wrong": _error("{column} {value} cannot be read: {reason}.", 'Write it as "Sun 22:00-04:00".'),
}

_NUMBERS = {
    "number_text": _repair("info", "{column} is a number stored as text in {cells}; it was read as the number."),
    "number_comma": _repair(
        "warning", "{column} has a decimal comma or digit grouping in {cells}; it was read as in {example}."
    ),
    "number_script": _repair("info", "{column} has digits of another script in {cells}; it was read as in {example}."),
    "number_bound": _repair("warning", "{column} is an upper bound in {cells}; the bound was taken, as in {example}."),
    "number_about": _repair("warning", "{column} is an approximate figure in {cells}; it was read as in {example}."),
    "number_beyond": _error(
        "{column} {value} says only what it exceeds.", "Write the number, or leave the cell blank if it is unknown."
    ),
    "unit_in_cell": _repair("info", "{column} is in another unit in {cells}; it was converted, as in {example}."),
    "way_in_cell": _repair(
        "warning", "{column} is for another direction in {cells}: it was doubled or halved, as in {example}."
    ),
    "number_ambiguous": _error(
        "{column} {value} may be {as_decimal} or {as_thousands}.", "Write it with a decimal point and no grouping."
    ),
    "number_wanted": _error(
        "{column} {value} is not a number.", "Write a number without words, or leave the cell blank if it is unknown."
    ),
    "number_infinite": _error("{column} {value} is not a finite number.", "Leave the cell blank if it is unknown."),
    "number_date": _error(
        "{column} is the date or time {value}, not a number; a spreadsheet may have turned 18.4 into one.",
        "Format the cell as a number and type it again.",
    ),
    "number_limit": _error(
        "{column} {value} must be {limits}.", "Correct it, or leave the cell blank if it is unknown."
    ),
    "whole_wanted": _error("{column} {value} must be a whole number.", "Correct it."),
    "percent_doubtful": _warning("{column} {value} is less than one percent.", "Write 10 for 10 %."),
    "percent_shown": _repair("info", "{column} is formatted as a percentage in {cells}; it was read as shown."),
}

_DATES = {
    "date_wanted": _error("{column} {value} is not a date.", "Use a date cell, or write it as 2026-03-31."),
    "date_text": _repair("info", "{column} is a date written as text in {cells}; it was read as in {example}."),
    "date_order": _repair(
        "warning", "{column}: day and month were taken in the order of the rest of the column in {cells}: {example}."
    ),
    "date_serial": _repair(
        "warning", "{column} is a number in {cells}; it was read as a day number, the first as {example}."
    ),
    "date_ambiguous": _error("{column} {value} may be {candidates}.", "Write it as 2026-03-31."),
    "date_time": _info("{column} has a time of day in {cells}, which was not read."),
    "change_undated": _error("The change has no date.", "Write the day from which it counts."),
    "change_of_two": _error("The change names a site and a pool.", "Give each a row of its own."),
    "change_column": _error("{column} {value} is no {what} that can change.", "{guess}"),
    "price_repeated": _error("The price of {value} is already in {other}.", "Keep one of the rows."),
    "dates_order": _error("The site closes on {closes}, before it opens on {opens}.", "Correct one of the dates."),
}

_IDS = {
    "site_repeated": _error("The site {value} is already in {other}.", "Give every site an id of its own."),
    "pool_repeated": _error("The pool {value} is already in {other}.", "Give every pool an id of its own."),
    "pool_blank": _error(
        "The hub {hub} already has a pool without an id in {other}.", "Name the pools of a hub; one may stay blank."
    ),
    "id_lookalike": _repair(
        "warning",
        "{column} {value}{count} was taken for {known}, which looks the same but has other letters, dashes or blanks.",
        "Write it as {known}.",
    ),
    "id_repaired": _repair(
        "warning",
        "{column} {value}{count} was taken for {known}, the only id that differs just by leading zeros.",
        "Write it as {known}; format the column as text.",
    ),
    "id_ambiguous": _error("{column} {value} may be any of {known}.", "Write the id with its leading zeros."),
    "site_unknown": _warning("The site {value}{count} is not on the sheet Sites; ignored.", "{guess}"),
    "hub_unknown": _warning("The hub {value}{count} is not on the sheet Hubs; ignored.", "{guess}"),
    "pinned_unknown": _error("The pinned hub {value} is not on the sheet Hubs.", "{guess}"),
    "barred_unknown": _warning("The barred hub {value} is not on the sheet Hubs.", "{guess}"),
    "pinned_barred": _warning("The site is pinned to the hub {value}, which it bars: it cannot be served."),
    "neighbour_unknown": _warning("The neighbour {value} is not on the sheet Sites; ignored.", "{guess}"),
    "region_unknown": _warning("The region {value} that the pool serves has no site.", "{guess}"),
}

_LATENCY = {
    "pair_repeated": _info("The pair {site}, {hub} is already in {other}, with the same values."),
    "pair_conflict": _error(
        "The pair {site}, {hub} is already in {other}, with other values.", "Keep the row that is right."
    ),
    "hub_column_unknown": _warning("The column {value} is no hub of the sheet Hubs; ignored.", "{guess}"),
    "matrix_no_hub": _error(
        "No column of the sheet is a hub of the sheet Hubs.",
        "Write a matrix with one row for each site and one column for each hub, or a list with the columns {columns}.",
    ),
    "matrix_corner": _info("The first column has no header that says site; it was read as the site ids."),
    "rtt_zero": _warning(
        "{column} is 0 in {cells}: no round trip takes no time, so it was read as unknown.",
        "Leave it blank if it was not measured; where the program rounds to 0, enter its resolution.",
    ),
    "rtt_to_itself": _info("The site and the hub are one place in {cells}; the round-trip time of 0 was not read."),
    "direction_reversed": _info(
        "Hub and site stand in each other's place in {cells}: read as the same path, measured from the other end."
    ),
    "directions_differ": _warning(
        "{pairs} path(s) were measured from both ends with results that differ by more than {tolerance}, the most by "
        "{most} ({example}). The larger figure counts for both.",
        "Measure these paths again, for longer.",
    ),
    "directions_jitter": _info(
        "{pairs} path(s) were measured from both ends and differ by up to {tolerance}; the larger figure counts."
    ),
    "samples_unused": _info("{pairs} pair(s) are on the sheet Latency too, which counts; their samples are not used."),
    "latency_none": _warning(
        "No round-trip time is known from the sheets Latency, Samples and Links: no site can be served.",
        "Fill in one of them.",
    ),
    "link_length": _error("The link has neither latency_ms nor km nor air_km.", "Give one of them."),
    "estimates_unused": _warning(
        "unknown_latency is estimate, but the policy accepts only {value} evidence: no site is served on an estimate.",
        "Estimates are shown among the reasons. Set accepted_evidence to estimated to use them.",
    ),
    "links_unused": _info("The policy accepts measured evidence only: what the sheet Links models serves no site."),
    "latency_old": _warning(
        "{pairs} measured pair(s) are more than {days} days old on {as_of}; {effect}. The oldest: {oldest}.",
        "Measure them again.",
    ),
    "latency_undated": _warning(
        "{pairs} measured pair(s) have no date, so they count as older than {days} days; {effect}.",
        "Fill in measured_at, or the time of the samples.",
    ),
    "latency_future": _warning("{pairs} measured pair(s) are dated after {as_of}.", "Correct the dates, or as_of."),
    "link_loop": _warning("The link leads from {value} to itself."),
}

_PINGS = {
    "pings_none": _warning("The folder holds no file.", "Name the files after site and hub: SITE__HUB.txt."),
    "ping_name": _warning(
        "The name of the file does not say whose probes it holds; ignored.",
        "Name it after site and hub, with two underscores between: SITE__HUB.txt.",
    ),
    "ping_refused": _warning("The file was not read: {reason}.", "Put the output of ping itself into the folder."),
    "ping_unreadable": _warning(
        "No probe was found in the file; its pair stays unknown.",
        "Save all that ping prints, from its first line to its last, and do not edit it.",
    ),
    "ping_unlisted": _warning(
        "The file counts {replies} replies without their times; its pair stays unknown.",
        "Run ping without options that silence it (-q, -f), and save all that it prints.",
    ),
    "ping_cut": _info("The output ends without a count in {cells}: lost probes were told by gaps in the lines."),
    "ping_rounded": _info('Times such as "<1ms" were read as the limit itself, the larger figure, in {cells}.'),
}

_POLICY = {
    "setting_unknown": _error("{value} is no setting.", "{guess}"),
    "setting_repeated": _error("The setting {value} is already in {other}.", "Keep one of them."),
    "cover_unplanned": _error('This version does not plan cover {value} yet; only "none".', 'Set cover to "none".'),
    "budget_missing": _error(
        "No latency budget, neither here nor in the policy, in {cells}.",
        "Set latency_budget_ms in the policy or for each of these sites.",
    ),
    "host_cost_missing": _error(
        "The objective is cost, but no host_cost is given here or in the policy, in {cells}.", "Give the price."
    ),
    "own_cost_missing": _error(
        "The objective is cost, but the price of the possible own tie-breaker is missing in {cells}.",
        "Give own_tie_breaker_cost here or in the policy.",
    ),
}

_CHECKS = {
    "nodes_not_two": _warning(
        "The clusters have {value} data nodes, not 2: the site will be left unserved.", "Correct it if that is wrong."
    ),
    "hosts_over": _warning("{existing} hosts exist, but max_hosts is {most}.", "Correct one of the two."),
    "coordinates_distance": _warning(
        "Coordinates are missing in {cells}: third_location_km cannot be checked, so these pairs count as ineligible.",
        "Give latitude and longitude.",
    ),
    "coordinates_estimate": _warning(
        "Coordinates are missing in {cells}: an unknown RTT cannot be estimated there.", "Give latitude and longitude."
    ),
    "coordinates_zero": _warning("Latitude and longitude are both 0, a point in the sea, in {cells}.", "Correct them."),
    "release_unchecked": _warning(
        "{column} is blank in {cells}: the rule {rule} is not checked there.", "Give the release."
    ),
    "release_floor_blank": _warning(
        "{column} is blank in {cells}: with a release floor these sites will be unserved.", "Give the release."
    ),
    "availability_fraction": _warning(
        "{column} is not above 1 % in {cells}: was a fraction of one meant?", "Write 99.9 for 0.999."
    ),
    "current_hosts": _warning(
        "The hub {value} has {named} named hosts here, but existing_hosts says {existing}.", "Correct one of the two."
    ),
    "current_repeated": _warning("The site {value} is already in {other}; this row is ignored.", "Keep one row."),
    "current_same": _info("The site {value} is already in {other}, with the same host."),
    "freeze_order": _error("The freeze ends on {last}, before it begins on {first}.", "Correct one of the two."),
}

CATALOGUE: dict[str, Template] = {
    **_FILES,
    **_MAPPING,
    **_SHEETS,
    **_HEADERS,
    **_CELLS,
    **_TEXTS,
    **_NUMBERS,
    **_DATES,
    **_IDS,
    **_LATENCY,
    **_PINGS,
    **_POLICY,
    **_CHECKS,
}

# Codes of files, also mapping files, that could not be read at all, as opposed to files whose data are wrong.
UNREADABLE = frozenset(code for code, template in {**_FILES, **_MAPPING}.items() if template.severity == "error")

# Codes of findings about what was not written as it should be, yet could be read.
REPAIRS = frozenset(code for code, template in CATALOGUE.items() if template.repair)
