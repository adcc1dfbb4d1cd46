"""The words of the plan workbook that are written and read back: sheet names, headings and labels of the claims."""

from __future__ import annotations

SUMMARY = "Summary"
CHARTS = "Charts"
HOSTS = "Hosts"
ASSIGNMENTS = "Assignments"
UNSERVED = "Unserved"
STANDBYS = "Standby"
NO_HOST_NEEDED = "No host needed"
READINESS = "Readiness"
READINESS_OVERVIEW = "Readiness overview"
MEASURE_FIRST = "Measure first"
FINDINGS = "Findings"
POLICY = "Policy"
APPROVAL = "Approval"
RECORD = "Plan record"  # hidden
DRILLS = "Drills"
BLAST_RADIUS = "Blast radius"
AVAILABILITY = "Availability"
SITE_AVAILABILITY = "Availability by site"

# Summary: labels in column A, values in column B.
STATUS = "Status"
OBJECTIVE = "Objective"
OBJECTIVE_VALUE = "Objective value"
LOWER_BOUND = "Lower bound"

SITE = "site"
NAME = "name"
REGION = "region"
CLUSTERS = "clusters"
HUB = "hub"
HOST = "host"

POOL = "pool"
RELEASE = "release"
CAP = "cap"
USABLE = "usable"
ORIGIN = "new or existing"
NEW, EXISTING = ORIGINS = ("new", "existing")
LIVE_CHECK = "live check"

RTT = "RTT ms"
BUDGET = "budget ms"
LOSS_BUDGET = "budget during a loss ms"
MARGIN = "margin ms"
EVIDENCE = "evidence"
MEASURED_AT = "measured at"
RTT_LOW = "RTT low ms"
RTT_HIGH = "RTT high ms"
CURRENT_HOST = "current host"
ACTION = "action"
STANDBY = "standby"
STANDBY_HUB = "standby hub"
STANDBY_RTT = "RTT to standby ms"

# Columns that the rollout team fills in.
PROGRESS = "status"
PROGRESS_WORDS = ("open", "planned", "done", "blocked", "not needed")
DATE = "date"
INITIALS = "initials"
RTT_AFTER = "RTT after ms"
VOTES_SEEN = "three votes seen"
YES, NO = VOTES_WORDS = ("yes", "no")
REMARKS = "remarks"
TICKET = "ticket"  # on Steps alone

REASONS = "reasons"
REMEDY = "what would help"
WHY = "why"

# Rollout workbook.
OVERVIEW = "Overview"
STEPS = "Steps"
CONFLICTS = "Conflicts"
MATERIALS = "Materials"
BUDGET_BY_YEAR = "Budget"
WAVE = "wave"
STEP = "step"
KIND = "kind"
FROM_HOST = "from host"
TO_HOST = "to host"
STARTS = "starts"
ENDS = "ends"
TIME_ZONE = "time zone"
CAUTIONS = "cautions"

# The sheet on what a rollout has changed in a fleet; intake leaves it alone.
DONE_SO_FAR = "Done so far"
# The sheet on what of a written fleet nobody typed.
ASSUMED = "Assumed"

# Sheets that progress adds to the team's workbook.
TEAM_PROGRESS = "Progress"
PLAN, PLAN_HASH, PREVIOUS_PLAN = "Plan", "Hash of the plan", "Previous plan"  # labels on Summary
BURN_DOWN = "Burn-down"
CLASHES = "Clashes"
PLANNED_HOST = "planned host"
STANDS_ON = "stands on"
