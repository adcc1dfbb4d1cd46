"""Findings about files, mapping files, sheets and headers."""

from planner.intake.messages.template import Template, error, info, repair, warning

_SAVE_AS = "Save it as .xlsx, .xlsm or .ods, or give a folder of .csv files named after the sheets."

FILES: dict[str, Template] = {
    "file_missing": error("There is no such file or folder.", "Check the path."),
    "file_unreadable": error("The file cannot be read: {reason}.", "Check its permissions."),
    "file_type": error("This is not a workbook that can be read: {reason}.", _SAVE_AS),
    "file_encrypted": error("The workbook is protected by a password.", "Save a copy without a password."),
    "file_damaged": error("The file is damaged: {reason}.", "Open it in a spreadsheet program and save it anew."),
    "file_too_big": error("The file was not read: {reason}.", "Remove what is no part of the fleet, or split it."),
    "folder_empty": error(
        "The folder holds no file that is read.",
        "Name the files after the sheets, such as Sites.csv.",
    ),
    "door_closed": error(
        "Reading this kind of file needs a library that is not installed.",
        'Install it: pip install "castingvote[{extra}]".',
    ),
    "door_broken": error("It cannot be read: {reason}.", "Correct the file, the address or the query."),
    "csv_encoding": warning(
        "The text is not UTF-8; it was read as {encoding}.",
        "Check letters with accents in the output, or save the file as UTF-8.",
    ),
    "csv_undecodable": error(
        "Line {line} holds a byte (0x{byte:02x}) whose text encoding is not recognised.", "Save the file as UTF-8."
    ),
    "csv_broken": error("The file cannot be read as CSV: {reason}.", "Check quotation marks and separators."),
}

MAPPING: dict[str, Template] = {
    "mapping_broken": error("The mapping file cannot be read: {reason}.", "Make one with check --write-mapping."),
    "mapping_unknown": error("{name} in the mapping file is not understood: {reason}.", "Correct or remove it."),
}

SHEETS: dict[str, Template] = {
    "mapping_listed": info("No sheet {sheet} was found. Its rows are those that the mapping lists: {ids}."),
    "mapping_sheet": error(
        "The mapping says that {title} is the sheet {sheet}, but there is no such sheet.", "Correct it."
    ),
    "sheet_by_content": warning(
        "This was read as the sheet {sheet}, by its title or its headers; no sheet is called so.",
        "Rename it to {sheet}, or name it in a mapping file.",
    ),
    "sheet_question": error(
        "Which of these is the sheet {sheet}: {titles}?",
        'Rename it to {sheet}, or pin it in a mapping file: [{sheet}] sheet = "title".',
    ),
    "sheet_doubtful": warning(
        "Several tables could be the sheet {sheet}, so none was read: {titles}.",
        'Rename one to {sheet}, or pin it in a mapping file: [{sheet}] sheet = "title".',
    ),
    "table_question": error(
        "A second table of the sheet {sheet} begins here, with other columns than the first.",
        "Put its rows below those of the first table, or the table on a sheet of its own.",
    ),
    "table_unused": warning(
        "A table that looks like the sheet {sheet} begins here; it was not read, since there is such a sheet.",
        "Move its rows to the sheet {sheet}, or remove it.",
    ),
    "sheet_hidden": warning("The sheet is hidden; it was read.", "Delete it if it does not count."),
    "rows_hidden": warning("Hidden rows were read: {rows}.", "Delete them if they do not count."),
    "columns_hidden": info("Hidden columns were read: {columns}."),
    "header_two_rows": info("The header was found in the two rows {rows}."),
    "header_again": info("The row repeats the header and was left out."),
    "sheet_missing": error("The sheet {sheet} is missing.", "Add it: {meaning}."),
    "fleet_is_plan": error(
        "This is a plan or a rollout, not a fleet.",
        "Name the fleet that it was made from first, and this file behind it where the command takes a plan.",
    ),
    "adopt_hint": error(
        "{what}",
        "Then: {command}",
    ),
    "adopt_nothing": error(
        "No table of sites and no table of hubs that belong together were recognised. Found: {seen}.",
        "Sites and hubs each need a table with a header and ids of their own; castingvote template shows one.",
    ),
    "sheet_repeated": error("{titles} all stand for the sheet {sheet}.", "Keep one of them, or rename the others."),
    "sheet_unknown": info("The sheet is not part of a fleet and was not read.", "{guess}"),
    "sheet_empty": error("The sheet has no rows.", "Add {meaning}."),
    "rows_above": info("The header was found in row {row}; what stands above it was not read."),
    "note_row": warning(
        "The row {value} holds hardly more than this text; it was taken for a title or a note and not read.",
        "Fill in its other columns if it is a row of the table.",
    ),
    "rows_left_out": info("Rows whose {header} is one of {values} are left out, as the mapping says: {cells}."),
    "rows_joined": info("Each row is a {kind}, as the mapping says: {rows} rows are {sites} sites."),
    "table_unread": warning(
        "A further table of {rows} row(s) begins here; it was not read.",
        "Name it in the mapping if it belongs to the fleet.",
    ),
    "total_row": warning("The row {value} looks like a total and was not read.", "Remove it if it is one."),
    "merged_cells": repair(
        "warning",
        "Merged cells ({ranges}) were read as if each of them held the value of the first.",
        "Unmerge them and fill in every cell; a value may have been meant for all of them together.",
    ),
}

HEADERS: dict[str, Template] = {
    "columns_matched": info("The headers in row {row} were read as these columns: {columns}."),
    "column_similar": repair(
        "warning", "The column {header} was read as {known}, whose name is much like it.", "Rename it, or {pin}."
    ),
    "column_by_content": repair(
        "warning",
        "The column {header} was read as {known}, since it holds such ids.",
        "Rename it to {known}, or {pin}.",
    ),
    "column_question": error("Which column is {column}? It may be {headers}.", "Name it {column}, or {pin}."),
    "column_doubtful": warning("The column {header} may be {meanings}; it was not used.", "Rename it, or {pin}."),
    "column_doubtful_twice": warning(
        "Which column is {column}? It may be {headers}; none was used.", "Name one {column}, or {pin}."
    ),
    "mapping_header": error(
        "The mapping says that {column} has the header {header}, but no column has it.", "Correct {mapping}."
    ),
    "times_left_out": warning(
        "The column {header} looks like round-trip times to a hub, but the mapping does not name it; it was not read.",
        "Run castingvote adopt again, or add it to {mapping}.",
    ),
    "mapping_gone": error(
        "The table with the headers {headers} is not on the sheet any more.", "Run castingvote adopt again."
    ),
    "mapping_label": error("No row has the label {label}, which the mapping names.", "Correct {mapping}."),
    "mapping_header_twice": error(
        "The mapping says that {column} has the header {header}, but several columns have it.",
        "Name it by its letter in {mapping}, such as =C.",
    ),
    "unit_converted": repair(
        "info", "The header {header} says {unit}: the values were multiplied by {factor} to give {wanted}."
    ),
    "unit_bytes": repair(
        "warning",
        "The header {header} says {unit}, bytes: the values were multiplied by {factor} to give {wanted}.",
        "Write {wanted} in the header if bits are meant.",
    ),
    "way_doubled": repair(
        "warning",
        "The header {header} says one way: the times were doubled.",
        "Measure round trips; the two directions may differ.",
    ),
    "way_halved": repair(
        "warning", "The header {header} says round trip: the times were halved.", "Give the one-way delay."
    ),
    "unit_doubtful": warning(
        "All round-trip times are at most {most}, read as ms, and no header says so.",
        "Say the unit in the header, such as RTT [s], if they are seconds.",
    ),
    "column_missing": error("The column {column} is missing.", "Add it: {meaning}."),
    "column_repeated": error("The columns {headers} ({letters}) mean the same.", "Keep one of them."),
    "column_unknown": info("The planner does not know the column {header}. It is copied to the output unchanged."),
    "column_misspelt": warning(
        "The planner does not know the column {header}; it is copied to the output, but not used.",
        "Rename it to {guess} if that is meant.",
    ),
    "header_blank": warning("The column has values but no header and was not read.", "Give it a header or empty it."),
    "header_broken": error("The header is {value}.", "Type the name of the column."),
}
