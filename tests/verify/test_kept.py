"""Sites that are served today, where the policy keeps them served."""

import pytest

from planner.plan import Aim, Reason, Unserved

FULL = (Reason("capacity", "full"),)


def left_out(desk, *, proven=True):
    """A plan that leaves out B, which S serves today, and serves C, which nobody does."""
    desk.policy(keep_served=True).without_row("B").host("N-01", clusters=1)
    told = (Aim("kept_served", 1, 1 if proven else 2, proven), Aim("served", 3, 3, proven))
    return desk.of_plan(unserved=(Unserved("B", 2, FULL, current="S"),), before=told, status="feasible")


def test_a_site_with_a_host_today_that_gives_way_to_another_is_found(desk) -> None:
    (violation,) = left_out(desk).everything()
    assert (violation.code, violation.where, violation.severity) == ("kept_served", "site B", "violation")
    assert violation.message == "has a host today but none in the plan, while site C, without a host today, gets S-01"


def test_it_is_only_noted_where_the_plan_does_not_claim_to_keep_the_most(desk) -> None:
    (violation,) = left_out(desk, proven=False).everything()
    assert (violation.code, violation.severity) == ("kept_served", "note")


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.policy(keep_served=False).of_plan(before=()),
        lambda d: d.site("B", barred_hubs=("S",)),
        lambda d: d.site("B", tie_breaker_kbps=10),
        lambda d: d.site("B", weight=2.0).policy(max_share_percent_hub=99).of_plan(before=()),
    ],
    ids=["not asked for", "may not go there", "more traffic", "more weight under a share"],
)
def test_a_site_that_could_not_take_the_place_is_not_complained_of(desk, change) -> None:
    assert "kept_served" not in [code for code, _ in change(left_out(desk)).found()]


def test_the_host_of_today_is_checked(desk) -> None:
    left = (Unserved("B", 2, FULL, current="N"),)
    assert ("current", "site B") in left_out(desk).of_plan(unserved=left).found()
    untold = left_out(desk).of_plan(unserved=(Unserved("B", 2, FULL),)).everything()
    assert [v.severity for v in untold if v.code == "current"] == ["note"]
