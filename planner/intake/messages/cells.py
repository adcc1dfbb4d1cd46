"""Findings about single cells."""

from planner.intake.messages.template import Template, error, info, repair, warning

_RECALCULATE = "Open the workbook in a spreadsheet program, recalculate and save it, or paste the value."

CELLS: dict[str, Template] = {
    "cell_error": error("{column} holds the error {value}.", "Correct the formula, or leave the cell blank."),
    "cell_error_unused": warning("{column} holds the error {value}; it is copied to the output as blank."),
    "formula_unsaved": error("{column} holds a formula whose result was never saved.", _RECALCULATE),
    "formula_unsaved_unused": warning(
        "{column} holds a formula whose result was never saved; it is copied to the output as blank.", _RECALCULATE
    ),
    "required_blank": error(
        "{column} is blank.", "Fill it in, or empty the row. Of merged cells only the first holds the value."
    ),
    "value_unknown": repair(
        "warning",
        "{column} says that the value is not known in {cells}; it was read as blank.",
        "Leave the cell blank.",
    ),
    "word_unknown": repair(
        "warning",
        "{column} holds a word, as in {example}, in {cells}; it was read as not known.",
        "Leave the cell blank.",
    ),
    "text_steered": repair(
        "warning",
        "{column}: characters that cannot be seen (control characters, marks of writing direction) "
        "were removed in {cells}.",
        "Check that the text is right.",
    ),
    "text_cut": repair("warning", "{column} has {length} characters; it was cut to the 32,767 that a cell holds."),
    "text_tidied": repair(
        "info", "{column}: blanks at the ends, non-breaking or invisible characters were removed in {cells}."
    ),
}

TEXTS: dict[str, Template] = {
    "id_number": info(
        "{column} is stored as a number in {cells}; leading zeros, if there were any, are lost.",
        "Format the column as text to keep ids as they are.",
    ),
    "id_long": error("{column} has {length} characters; an id has at most 200.", "Shorten it."),
    "ids_alike": warning("{value} looks like the id in {other}, but has other letters.", "Type one of them again."),
    "id_shown": repair(
        "info", "{column} is a number that is shown with leading zeros in {cells}; the shown text was taken."
    ),
    "id_fraction": warning("{column} {value} is a number with a fraction, which is unusual for an id."),
    "id_digits": error(
        "{column} is a number of more than 15 digits, whose last digits a spreadsheet loses.",
        "Format the cell as text and type the id again.",
    ),
    "id_date": error(
        "{column} is the date {value}, which may have been an id such as 3-4.",
        "Format the cell as text and type the id again.",
    ),
    "id_boolean": repair(
        "warning", "{column} is the yes/no value {value} of the spreadsheet; it was read as that word."
    ),
    "ids_comma": warning(
        "{column} {value} has a comma and no semicolon; it was read as a single entry.",
        "Separate several entries with a semicolon.",
    ),
    "release_number": error(
        "{column} {value} is stored as a number, so it may have been {value}0.",
        "Store it as text, or give the cell a number format with the right decimals.",
    ),
    "release_shown": repair("info", "{column} is stored as a number in {cells}; the shown decimals were taken."),
    "release_whole": info("{column} is stored as a whole number in {cells} and was read as it stands."),
    "release_date": error(
        "{column} is the date {value}; a spreadsheet may have made it from a version.",
        "Format the cell as text and type the version again.",
    ),
    "release_order": error("{column}: {reason}."),
    "choice_word": repair("info", "{column} holds another word for yes or no in {cells}; it was read as in {example}."),
    "choice_unknown": error("{column} {value} must be one of {choices}.", "{guess}"),
    "timezone_unknown": error(
        "{column} {value} is no IANA time zone.", "Write a name such as Europe/London or UTC. {guess}"
    ),
    "window_wrong": error("{column} {value} cannot be read: {reason}.", 'Write it as "Sun 22:00-04:00".'),
}

NUMBERS: dict[str, Template] = {
    "number_text": repair("info", "{column} is a number stored as text in {cells}; it was read as the number."),
    "number_comma": repair(
        "warning", "{column} has a decimal comma or digit grouping in {cells}; it was read as in {example}."
    ),
    "number_script": repair("info", "{column} has digits of another script in {cells}; it was read as in {example}."),
    "number_bound": repair(
        "warning",
        "{column} is written as a limit, such as < 20, in {cells}; the limit itself was taken, as in {example}.",
    ),
    "number_about": repair("warning", "{column} is an approximate figure in {cells}; it was read as in {example}."),
    "number_noun": repair("info", "{column} has words behind the figure in {cells}; it was read as in {example}."),
    "number_beyond": error(
        "{column} {value} is only a lower limit, not the number.",
        "Write the number, or leave the cell blank if it is unknown.",
    ),
    "unit_in_cell": repair("info", "{column} is in another unit in {cells}; it was converted, as in {example}."),
    "way_in_cell": repair(
        "warning",
        "{column} says one way or round trip in {cells}; the value was doubled or halved where "
        "needed, as in {example}.",
    ),
    "number_ambiguous": error(
        "{column} {value} may be {as_decimal} or {as_thousands}.", "Write it with a decimal point and no grouping."
    ),
    "number_wanted": error(
        "{column} {value} is not a number.", "Write a number without words, or leave the cell blank if it is unknown."
    ),
    "number_infinite": error("{column} {value} is not a finite number.", "Leave the cell blank if it is unknown."),
    "number_date": error(
        "{column} is the date or time {value}, not a number; a spreadsheet may have turned 18.4 into one.",
        "Format the cell as a number and type it again.",
    ),
    "number_limit": error(
        "{column} {value} must be {limits}.", "Correct it, or leave the cell blank if it is unknown."
    ),
    "whole_wanted": error("{column} {value} must be a whole number.", "Correct it."),
    "percent_doubtful": warning("{column} {value} is less than one percent.", "Write 10 for 10 %."),
    "percent_shown": repair("info", "{column} is formatted as a percentage in {cells}; it was read as shown."),
}

DATES: dict[str, Template] = {
    "date_wanted": error("{column} {value} is not a date.", "Use a date cell, or write it as 2026-03-31."),
    "date_text": repair("info", "{column} is a date written as text in {cells}; it was read as in {example}."),
    "date_order": repair(
        "warning", "{column}: day and month were taken in the order of the rest of the column in {cells}: {example}."
    ),
    "date_serial": repair(
        "warning", "{column} is a number in {cells}; it was read as a day number, the first as {example}."
    ),
    "date_ambiguous": error("{column} {value} may be {candidates}.", "Write it as 2026-03-31."),
    "date_time": info("{column} has a time of day in {cells}, which was not read."),
    "change_undated": error("The change has no date.", "Write the day from which it counts."),
    "change_of_two": error("The change names a site and a pool.", "Give each a row of its own."),
    "change_column": error("{column} {value} is no {what} that can change.", "{guess}"),
    "price_repeated": error("The price of {value} is already in {other}.", "Keep one of the rows."),
    "dates_order": error("The site closes on {closes}, before it opens on {opens}.", "Correct one of the dates."),
}
