"""Who reads the texts of each folder and file of the package, and where: for readers of the list of sentences."""

# The first folder or file that a path begins with tells who reads its texts; None: nobody but us.
AUDIENCES = {
    "cli": "terminal",
    "columns": None,  # told in words below
    # Words of many languages that are read, not written; file formats; names of styles.
    "intake/lexicon": None,
    "intake/adopt/places": None,
    "intake/known_words": None,
    "intake/names": None,
    "intake/units": None,
    "outputs/csv_tables": None,
    "outputs/leftovers": None,
    "outputs/progress_words": None,
    "outputs/report/charts": None,
    "outputs/sheet_text": None,
    "outputs/styles": None,
    "intake/adopt": "terminal: adopt",
    "intake": "findings in the input",
    "outputs/run_": "run sheets",
    "outputs/rollout_": "run sheets",
    "outputs/steps_sheet": "run sheets",
    "outputs/calendar": "run sheets",
    "outputs/report": "report",
    "outputs": "workbook",
    "rollout": "rollout",
    "schedule": "rollout",
    "tracking": "progress",
    "verify": "verify",
    "certificate": "verify",
    "resilience": "drill and availability",
    "scenarios": "sweep, horizon and designs",
    "explain": "explain",
    "readiness": "readiness",
    "rules": "reasons and remedies",
    "sizing": "proof",
    "desk": "desk",
    "manual": None,
    "": "other",
}

NOTATION = """\
How to read this list

These are the texts of a planner of tie-breaker hosts for fleets of two-node clusters, as its users see them.
{x} stands for something that is filled in: {hosts}, {site}, {rtt ms of pair}. {a | b} is one of two or more wordings;
(nothing) means that this place stays empty. Texts joined by | are the headers of one table, or choices of one list.
Short texts without a verb are headings, headers, labels, or entries of a column. [in brackets]: where it is.
A line that begins with "Shown" says where the texts below it are seen. Words of the trade are in the glossary of the
manual."""

# Where a user sees the texts of an audience.
SHOWN = {
    "columns": "What each sheet, column and setting of the input means: in the template, in the manual and in notes on "
    "headings. In brackets: sheet and column; a sheet's name alone: what the sheet is for.",
    "desk": "A page in the browser, from the spreadsheet to the plan: headings, buttons, labels and messages.",
    "drill and availability": "castingvote drill and castingvote availability, in the terminal and as workbooks.",
    "explain": "castingvote explain.",
    "findings in the input": "Findings of castingvote check, and of every command that reads a fleet. One line names "
    "file, sheet and cell; then come the message and what to do. {column}: the header. {cells}: addresses of cells.",
    "help": "castingvote COMMAND --help. In brackets: the command.",
    "other": "Several commands and outputs; messages of errors.",
    "progress": "castingvote progress: what the workbooks say that the team sent back.",
    "proof": "The proof of a plan in words, reasons of unserved sites, and messages about settings.",
    "readiness": "castingvote check and sheet Readiness: what is open at a site, then what to do.",
    "reasons and remedies": "Sheet Unserved and castingvote explain.",
    "report": "The report (plan.html) in a browser: headings, table headers, buttons, notes.",
    "rollout": "castingvote rollout: bounds, conflicts and notes.",
    "run sheets": "The rollout workbook: one printed page for each wave.",
    "sweep, horizon and designs": "castingvote sweep, horizon and designs, in the terminal and as workbooks.",
    "terminal": "What commands print.",
    "terminal: "
    "adopt": "castingvote adopt: what each table and column of somebody's own spreadsheet is taken for, and why. "
    "Likeness 1: castingvote is sure; 0: it does not know.",
    "verify": "castingvote verify and certify: a line for each thing that is wrong. It begins with the site, host, "
    "pool, group, step or wave that it is about; 'it' and 'its' mean that one, or the certificate.",
    "workbook": "The plan workbook: titles, notes, headers, cells.",
}

# The same for single files, where a text is a part of a sentence.
PARTS = {
    "differences/causes.py": "Shown as the last part of a line on one difference: why the site or host differs.",
    "differences/difference.py": "Shown in columns 'cause' and 'difference' of a comparison of two plans.",
    "differences/difference_sentences.py": "Shown as lines of a comparison of two plans, an old and a new one.",
    "differences/figures.py": "Shown as labels of a table with a column for the old plan and one for the new one.",
    "differences/plans_between.py": "Shown in: 'With {what was changed}, {text} and {text}'; or while compare works.",
    "differences/rows.py": "Shown in column 'why' or 'difference' of a comparison of two plans.",
    "differences/sides.py": "Shown in column 'why' of a comparison of two plans.",
    "differences/compare_plans.py": "Shown as notes of a comparison; 'plan and fleet' and the like: what each side is.",
    "documents/kinds.py": "Shown in the manual: what each JSON file holds.",
    "evidence.py": (
        "Shown in the text file at the top of the folder for an auditor; errors begin with the folder's name."
    ),
    "fleet.py": "Shown as an error where a Python program makes a fleet; it begins with the name of the table.",
    "documents/plain.py": "Shown in: 'KEY is {found}, not {expected}.', on a JSON file that cannot be read.",
    "explain/explain_plan.py": "Shown while castingvote explain works: 'Planning …: {text}'; or as a note below.",
    "explain/levers.py": "Shown while castingvote explain works ('Planning …: {text}'), or as a suggestion.",
    "explain/measure.py": (
        "Shown while castingvote explain works ('Planning …: {text}'), or as what a measurement changes."
    ),
    "explain/openings.py": "Shown while castingvote explain works ('Planning …: {text}'), or as a suggestion.",
    "explain/remedies.py": "Shown while castingvote explain works: 'Planning …: {text}'.",
    "host_limits.py": "Shown in: 'with this site they would exceed {column} at {place}'.",
    "intake/archive.py": (
        "Shown in: 'This is not a workbook that can be read: {text}.', 'The file was not read: {text}.'"
    ),
    "intake/checks.py": "Shown in: '{text}, but max_hosts is 3.'",
    "intake/csvfolder.py": "Shown in: 'The file cannot be read as CSV: {text}.'",
    "intake/encodings.py": (
        "Shown in: 'The text is not UTF-8; it was read as {text}.', 'The file cannot be read: {text}.'"
    ),
    "intake/evidence.py": "Shown in: '5 measured pair(s) are more than 90 days old; {text}.'",
    "intake/files.py": "Shown in: 'The file cannot be read: {text}.'",
    "intake/headers.py": "Shown in: 'The header is {text}.' and in lists of headers.",
    "intake/mapping.py": "Shown in: 'NAME in the mapping file is not understood: {text}. Correct or remove it.'",
    "intake/mapping_text.py": "Shown as comments of a mapping file (TOML), which people may change.",
    "intake/matching.py": "Shown in: 'The column HEADER may be {text}; it was not used. Rename it, or {text}.'",
    "outputs/availability_sheets.py": "Shown in the availability workbook: parts of a cluster's way, titles, headers.",
    "outputs/causes.py": "Shown as one line for all unserved sites that the same thing would help: '28 sites: {text}'.",
    "outputs/drill_sheets.py": "Shown in columns 'why' and 'what happens' of a drill; headers and labels.",
    "outputs/earlier_calendar.py": "Shown in: 'FILE {text}. Name the calendar that the last rollout wrote.'",
    "outputs/how_sure.py": "Shown as the first lines of every output of a plan. Aims: 'Among plans with 12 hosts, this "
    "one {text}'. Proofs: 'Proven: {text}, and {text}.' Labels: what an aim counts.",
    "outputs/json_record.py": "Shown in: 'KEY is {found}, not {expected}. Correct it.'",
    "outputs/plan_sheets.py": "Shown when a sheet of a plan workbook lacks this column: what the column holds.",
    "outputs/read_workbook.py": "Shown when a plan workbook lacks a sheet or label: what it holds.",
    "outputs/tickets.py": "Shown as columns of a ticket: what is done at a site or host, its risk, the way back.",
    "outputs/typed.py": "Shown in: 'FILE exists: {text}. Nothing was written.'",
    "outputs/validation.py": "Shown when a cell of the template is selected or has an unusual value.",
    "own.py": "Shown in: 'Your own rule NAME {text}.', for rules that users write in Python.",
    "readiness/audit.py": "Shown as what is asked of every site.",
    "readiness/networks.py": "Shown in: 'tie-breaker and storage traffic share a network: {text}'.",
    "resilience/drills/layout.py": "Shown in column 'detail': why a site's standby does not take over.",
    "rollout/jobs.py": "Shown in: '12 sites {text} change, at most 4 in a wave'.",
    "rollout/moves.py": "Shown as conflicts of a rollout: site or hosts, what is wrong, what would help.",
    "rollout/night_kinds.py": (
        "Shown in: 'For 40 steps, windows, {text} and {text} together do not allow fewer waves'."
    ),
    "rollout/night_program.py": "Shown in: 'For 40 steps, windows and {text} together do not allow fewer waves'.",
    "rollout/tasks.py": "Shown as a caution of a step, the name of a step, or a conflict.",
    "rules/mending.py": "Shown in: 'To serve SITE from pool POOL: {text}; {text}.'",
    "rules/reasons.py": "Shown as the reason why a site cannot be served.",
    "scenarios/scenario_file.py": "Shown after the name of a scenario file and of the entry in it.",
    "scenarios/sweep_words.py": "Shown in column 'proof' or 'what it changes' of a sweep, and as its first lines.",
    "scenarios/vary.py": "Shown after the option --vary as it was typed.",
    "sizing/asked.py": "Shown when a setting of the policy does not go with another one.",
    "sizing/from_today/extra_hosts.py": (
        "Shown in: 'Whether 2 more hosts would save moves was not tried, since {text}.'"
    ),
    "sizing/from_today/trade_off.py": "Shown while castingvote plan works, or when --trade-off is refused.",
    "sizing/left_out.py": "Shown as the reason why a site is unserved although hosts may serve it.",
    "sizing/assignment": "Shown in plan.json, key solver_word: how the search ended.",
    "sizing/cover/covered_plan.py": "Shown in plan.json, key solver_word: how the search ended.",
    "sizing/cover/primal_search": "Shown in plan.json, key solver_word: how the search ended.",
    "sizing/host_counts/fewest_hosts.py": "Shown in plan.json, key solver_word: how the search ended.",
    "sizing/cover/pair_flow.py": (
        "Shown in: 'castingvote failed: {text}. This is a fault of castingvote, not of your file.'"
    ),
    "sizing/packing": "Shown in: 'castingvote failed: {text}. This is a fault of castingvote, not of your file.'",
    "sizing/solvers": "Shown in: 'castingvote failed: {text}. This is a fault of castingvote, not of your file.'",
    "sizing/tie_breaks": "Shown in: 'castingvote failed: {text}. This is a fault of castingvote, not of your file.'",
    "sizing/relaxed_limits.py": (
        "Shown in: 'castingvote failed: {text}. This is a fault of castingvote, not of your file.'"
    ),
    "sizing": "Shown as a sentence of the proof.",
    "tracking/state.py": "Shown as a note on a returned workbook, or as where a site is instead of its planned host.",
    "values.py": "Shown after the name of a setting that was given in Python.",
}


def part(name):
    """Return where the texts of a file are seen; "" where the audience says it."""
    return next((words for begin, words in PARTS.items() if name.startswith(begin)), "")
