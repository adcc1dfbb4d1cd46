"""Findings about what cells say together: ids, latency, ping output, policy and the fleet as a whole."""

from planner.intake.messages.template import Template, error, info, repair, warning

IDS: dict[str, Template] = {
    "site_repeated": error(
        "The site {value} is already in {other}.", "Delete one of the rows, or give every site an id of its own."
    ),
    "pool_repeated": error(
        "The pool {value} is already in {other}.", "Delete one of the rows, or give every pool an id of its own."
    ),
    "pool_blank": error(
        "The hub {hub} already has a pool without an id in {other}.", "Name the pools of a hub; one may stay blank."
    ),
    "id_lookalike": repair(
        "warning",
        "{column} {value}{count} was taken for {known}, which looks the same but has other letters, dashes or blanks.",
        "Write it as {known}.",
    ),
    "id_repaired": repair(
        "warning",
        "{column} {value}{count} was taken for {known}, the only id that differs just by leading zeros.",
        "Write it as {known}; format the column as text.",
    ),
    "host_alike": repair(
        "warning",
        "{column} {value}{count} was taken for {known}, which differs only in capital letters, dashes or blanks.",
        "Write it as {known}.",
    ),
    "id_ambiguous": error("{column} {value} may be any of {known}.", "Write the id with its leading zeros."),
    "id_by_name": repair(
        "info", "{column} {value}{count} is no id, but only {known} has this name; it was read as that id."
    ),
    "name_ambiguous": error("{column} {value} is no id, but the name of several: {known}.", "Write the id instead."),
    "site_unknown": warning("The site {value}{count} is not on the sheet {Sites}; it was not read.", "{guess}"),
    "hub_unknown": warning("The hub {value}{count} is not on the sheet {Hubs}; it was not read.", "{guess}"),
    "pool_unknown": error("The pool {value}{count} is not on the sheet {Hubs}.", "{guess}"),
    "pool_elsewhere": error("The pool {value} stands at the hub {other}, not at {hub}.", "Correct hub or pool."),
    "pinned_unknown": error("The pinned hub {value} is not on the sheet {Hubs}.", "{guess}"),
    "barred_unknown": warning("The barred hub {value} is not on the sheet {Hubs}.", "{guess}"),
    "pinned_barred": warning("pinned_hub is {value}, which is also in barred_hubs: the site cannot be served."),
    "neighbour_unknown": warning("The neighbour {value} is not on the sheet {Sites}; it was not read.", "{guess}"),
    "left_out": info("{column} has a value that the mapping leaves out, in {cells}; these rows were not read."),
    "current_none": info("No {column} is given in {cells}: nobody serves these sites today."),
    "pair_blank": warning("{column} is blank in {cells}; these rows were not read.", "Fill it in, or empty the rows."),
    "id_within": repair(
        "warning",
        "{column} {value}{count} contains one known id or name, {known}; it was read as that.",
        "Write it as {known}.",
    ),
    "id_bare": repair(
        "warning",
        "{column} {value}{count} was taken for {known}, the only id with this number.",
        "Write it as {known}.",
    ),
    "nodes_odd": warning(
        "The number of data nodes is odd at {cells}: half of it, rounded down, was read as the number of clusters.",
        "Give every data node a row.",
    ),
    "releases_differ": warning("The rows of one site have several releases at {cells}: the oldest was taken."),
    "region_unknown": warning("The region {value} that the pool serves has no site.", "{guess}"),
}

LATENCY: dict[str, Template] = {
    "pair_repeated": info("The pair {site}, {hub} is already in {other}, with the same values."),
    "pair_conflict": error(
        "The pair {site}, {hub} is already in {other}, with other values.", "Keep the row that is right."
    ),
    "latency_superseded": info(
        "{pairs} pair(s) are in {title} too, whose values are used; {differ} of them have another value here."
    ),
    "latency_gaps": info("{pairs} no round-trip time: {example}.", "Measure them if these hubs may serve these sites."),
    "pair_newer": warning(
        "The pair {site}, {hub} is in {other} too, with another value and a newer date: that row counts.",
        "Remove the older row.",
    ),
    "hub_column_unknown": warning("The column {value} is not a hub of the sheet {Hubs}; it was not read.", "{guess}"),
    "matrix_no_hub": error(
        "No column of the sheet is a hub of the sheet {Hubs}.",
        "Write a matrix with one row for each site and one column for each hub, or a list with the columns {columns}.",
    ),
    "matrix_corner": info("The first column has no header that says site; it was read as the site ids."),
    "rtt_beyond": info(
        '{column} says only what it exceeds, as in ">{bound}", in {cells}: it is beyond the budget there.'
    ),
    "rtt_beyond_question": warning(
        '{column} says only what it exceeds, as in ">{bound}", in {cells}, and the budget of {budget} ms is larger: '
        "it was read as not known.",
        "Is it within the budget? Measure it, or write the number.",
    ),
    "no_answer": repair(
        "warning",
        "{column} says that a probe had no answer in {cells}, as in {example}; it was read as not known.",
        "Measure again: one lost probe says nothing of the time.",
    ),
    "unreachable": repair(
        "warning",
        "{column} says that the other end was not reached in {cells}, as in {example}; it was read as not known.",
        "Find out whether there is a path at all.",
    ),
    "rtt_zero": warning(
        "{column} is 0 in {cells}: a round trip always takes some time, so it was read as unknown.",
        "Leave it blank if it was not measured. If the program rounds to 0, enter the smallest time that it can show.",
    ),
    "rtt_to_itself": info("The site and the hub are one place in {cells}; the round-trip time of 0 was not read."),
    "direction_reversed": info(
        "Hub and site stand in each other's place in {cells}: read as the same path, measured from the other end."
    ),
    "directions_differ": warning(
        "{pairs} path(s) were measured from both ends with results that differ by more than {tolerance}, the most by "
        "{most} ({example}). The larger figure counts for both.",
        "Measure these paths again, for longer.",
    ),
    "directions_jitter": info(
        "{pairs} path(s) were measured from both ends and differ by up to {tolerance}; the larger figure counts."
    ),
    "samples_unused": info(
        "{pairs} pair(s) are on the sheet {Latency} too. That sheet counts; the samples of these pairs are not used."
    ),
    "latency_none": warning(
        "No round-trip time is known from the sheets Latency, Samples and Links: no site can be served.",
        "Fill in one of them. Where coordinates are known, the setting unknown_latency may be estimate.",
    ),
    "link_length": error("The link has neither latency_ms nor km nor air_km.", "Give one of them."),
    "estimates_unused": warning(
        "unknown_latency is estimate, but the policy accepts only {value} evidence: no site is served on an estimate.",
        "To use estimates, set accepted_evidence to estimated.",
    ),
    "links_unused": info(
        "The policy accepts measured times only: no site is served on a time computed from the sheet {Links}."
    ),
    "latency_old": warning(
        "{pairs} measured pair(s) are more than {days} days old on {as_of}; {effect}. The oldest: {oldest}.",
        "Measure them again.",
    ),
    "latency_undated": warning(
        "{pairs} measured pair(s) have no date, so they count as older than {days} days; {effect}.",
        "Fill in measured_at, or the time of the samples.",
    ),
    "latency_future": warning("{pairs} measured pair(s) are dated after {as_of}.", "Correct the dates, or as_of."),
    "link_loop": warning("The link leads from {value} to itself."),
}

PINGS: dict[str, Template] = {
    "pings_none": warning("The folder holds no file.", "Name the files after site and hub: SITE__HUB.txt."),
    "ping_name": warning(
        "The name of the file does not say whose probes it holds, so it was not read.",
        "Name it after site and hub, with two underscores between: SITE__HUB.txt.",
    ),
    "ping_refused": warning("The file was not read: {reason}.", "Put the output of ping itself into the folder."),
    "ping_unreadable": warning(
        "No probe was found in the file; its pair stays unknown.",
        "Save all that ping prints, from its first line to its last, and do not edit it.",
    ),
    "ping_unlisted": warning(
        "The file has {replies} replies without times; the round-trip time of its pair stays unknown.",
        "Run ping without options that silence it (-q, -f), and save all that it prints.",
    ),
    "ping_cut": info(
        "The output of ping ends without its summary in {cells}: lost probes were counted by the "
        "numbers that are missing."
    ),
    "ping_rounded": info('Times such as "<1ms" were read as the limit itself, the larger figure, in {cells}.'),
}

POLICY: dict[str, Template] = {
    "setting_unknown": error("{value} is no setting.", "{guess}"),
    "setting_repeated": error("The setting {value} is already in {other}.", "Keep one of them."),
    "loss_uses_reserve_idle": info(
        "loss_uses_reserve is yes, but changes nothing: it needs a reserve_percent above 0 and a cover other than none."
    ),
    "loss_latency_idle": info(
        "loss_latency_budget_ms changes nothing with cover none, since no site has a standby then, in {cells}."
    ),
    "loss_latency_lower": info(
        "loss_latency_budget_ms is below latency_budget_ms in {cells}. There the latency budget holds for standbys too."
    ),
    "budget_missing": error(
        "No latency budget is given in {cells}, nor in the policy.",
        "Set latency_budget_ms in the policy or for each of these sites.",
    ),
    "host_cost_missing": error(
        "The objective is cost, but no host_cost is given here or in the policy, in {cells}, nor a host in Prices.",
        "Give the price.",
    ),
    "own_cost_missing": error(
        "The objective is cost, but the price of the possible own tie-breaker is missing in {cells}.",
        "Give own_tie_breaker_cost here or in the policy, or own_tie_breaker in Prices.",
    ),
}

CHECKS: dict[str, Template] = {
    "nodes_not_two": warning(
        "The clusters have {value} data nodes, not 2: the site will be left unserved.", "Correct it if that is wrong."
    ),
    "weights_apart": error("{message}", "Round the weights, or make the largest smaller."),
    "clusters_beyond": error("{message}", "Correct the column clusters."),
    "hosts_over": warning("{existing}, but {limit} is {most}.", "Correct one of the two."),
    "coordinates_distance": warning(
        "Coordinates are missing in {cells}: third_location_km cannot be checked, so these pairs count as ineligible.",
        "Give latitude and longitude.",
    ),
    "coordinates_estimate": warning(
        "Coordinates are missing in {cells}: an unknown RTT cannot be estimated there.", "Give latitude and longitude."
    ),
    "coordinates_zero": warning("Latitude and longitude are both 0, a point in the sea, in {cells}.", "Correct them."),
    "release_unchecked": warning(
        "{column} is blank in {cells}: the rule {rule} is not checked there.", "Give the release."
    ),
    "release_floor_blank": warning(
        "{column} is blank in {cells}: with a release floor these sites will be unserved.", "Give the release."
    ),
    "availability_fraction": warning(
        "{column} is not above 1 % in {cells}: was a fraction of one meant?", "Write 99.9 for 0.999."
    ),
    "current_hosts": warning(
        "The hub {value} has {named} named hosts here, but existing_hosts says {existing}.", "Correct one of the two."
    ),
    "existing_named": info("{column} is blank in {cells}: the hosts that Current names there are counted, {example}."),
    "existing_assumed": warning(
        "{column} is blank in {cells}. Current has sites there, but does not name their hosts. The plan assumes "
        "as many hosts as these sites fill: {example}.",
        "Fill in existing_hosts, and the column host of Current.",
    ),
    "existing_few": warning(
        "existing_hosts of {pool} is {existing}, but the sites that Current has there fill {needed}.",
        "Correct one of the two. Sites for which no host exists count as moved.",
    ),
    "host_two_pools": error(
        "The host {value} is of pool {pool} here, and of another in {other}.", "Correct one of them."
    ),
    "host_pool_unclear": warning(
        "The pool of {hosts} at the hub {hub} is not clear: {pools} fit equally well. The planner uses {taken}.",
        "Fill in the column pool of this sheet.",
    ),
    "host_pool_none": warning(
        "No pool at the hub {hub} fits {hosts}: in each, cap, release, region or name differs. "
        "The planner uses {taken}.",
        "Fill in the column pool of this sheet, or correct cluster_cap and host_release_today of the pool.",
    ),
    "site_pool_unclear": warning(
        "Neither host nor pool is given for {sites} at the hub {hub}, and the pools {pools} fit equally well. "
        "A site that stays in one of these pools does not count as moved.",
        "Fill in host, or at least pool.",
    ),
    "current_repeated": warning("The site {value} is already in {other}; this row is ignored.", "Keep one row."),
    "current_same": info("The site {value} is already in {other}, with the same host."),
    "freeze_order": error("The freeze ends on {last}, before it begins on {first}.", "Correct one of the two."),
}
