"""Which windows and freezes a rollout heeds, in words: a freeze that nobody typed in is one that nobody keeps."""

from __future__ import annotations

from collections.abc import Iterator

from planner.counted_words import counted, first_few
from planner.fleet import Fleet


def heeded_in_words(fleet: Fleet) -> tuple[str, ...]:
    """Return a sentence on the freezes that were read, with their dates, and one on the windows."""
    return (_freezes(fleet), " ".join(_windows(fleet)))


def _freezes(fleet: Fleet) -> str:
    table = fleet.freezes
    if not len(table):
        return "Freezes: none were read. Add each one to sheet Freezes before you send the calendar out."
    told = []
    for first, last, regions, reason in sorted(
        zip(table["first"], table["last"], table["regions"], table["reason"], strict=True), key=lambda row: row[:2]
    ):
        days = f"{first:%Y-%m-%d}" if first == last else f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
        about = "; ".join(part for part in (str(reason), ", ".join(regions)) if part)
        told.append(f"{days} ({about})" if about else days)
    return f"Freezes: {len(told):,} {'was' if len(told) == 1 else 'were'} read. {first_few(told)}."


def _windows(fleet: Fleet) -> Iterator[str]:
    """Yield what is known of windows: the policy's, those of single sites and hubs, and who has none."""
    tables = (("site", fleet.sites), ("hub", fleet.pools.drop_duplicates("hub")))
    own = {noun: int((table["window"] != "").sum()) for noun, table in tables}
    general = fleet.policy.window
    if not general and not any(own.values()):
        yield "Windows: none were read, so work may start at any hour."
        return
    named = [f"{counted(number, noun)} with a window of {'its' if number == 1 else 'their'} own"
             for noun, number in own.items() if number]  # fmt: skip
    rest = {noun: len(table) - own[noun] for noun, table in tables}
    others = " and ".join(counted(number, noun) for noun, number in rest.items() if number)
    yield f"Windows: {' and '.join(named)}." if named else "Windows: one for all."
    if others and general:
        yield f"{general} counts for {others}."
    elif others:
        yield f"No window was read for {others}, where work may start at any hour."
