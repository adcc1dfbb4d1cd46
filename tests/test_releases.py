"""What a release text means, which texts are refused, and that the order is a total one."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.releases import UNDERSTOOD, Release, parse_release


def assert_increasing(texts: list[str]) -> None:
    for lower, higher in pairwise(texts):
        assert parse_release(lower) < parse_release(higher), f"{lower} is not below {higher}"


def test_numbers_compare_as_numbers_and_not_as_text() -> None:
    assert_increasing(["8", "8.1", "8.2", "8.2.0.1", "8.2.1", "8.9", "8.10", "8.10.2", "10"])


def test_everything_around_one_release_in_order() -> None:
    assert_increasing(
        [
            "8.1",
            "8.2 dev1",
            "8.2 alpha 1",
            "8.2 beta",
            "8.2 beta 2 dev 1",
            "8.2 beta 2",
            "8.2 milestone 1",
            "8.2-rc1",
            "8.2-rc1 hotfix 1",
            "8.2-rc2",
            "8.2-rc10",
            "8.2",
            "8.2.post1",
            "8.2 hotfix 1",
            "8.2p1",
            "8.2 patch 2",
            "8.2u3",
            "8.2 update 10",
            "8.2 SP2 beta 1",
            "8.2 SP2",
            "8.2 SP2 hotfix 1",
            "8.2 SP2 U3",
            "8.2 SP10",
            "8.2.1",
        ]
    )


@pytest.mark.parametrize(
    "same",
    [
        ("8.2", "8.2.0", "8.2.0.0", "v8.2", "V 8.2", "Version 8.2", "release 8.2", " 8.2 ", "\u00a08.2", "8.02"),
        ("8.2", "8.2 build 1234", "8.2 (build 1234)", "8.2.0+1234", "8.2+a.b-5", "8.2 Build: 12.7", "8.2-build.9"),
        ("8.2", "8.2 GA", "8.2.Final", "8.2 LTS", "8.2 LTS build 7"),
        ("8.2rc1", "8.2-RC1", "8.2.rc.1", "8.2 rc 1", "8.2c1", "8.2 pre 1", "8.2-preview1", "8.2_rc_1"),
        ("8.2a1", "8.2 alpha 1", "8.2-Alpha.1"),
        ("8.2 SP2", "8.2sp2", "8.2 Service Pack 2", "8.2-SP-2", "8.2 servicepack 2"),
        ("8.2u3", "8.2 Update 3", "8.2 U3"),
        ("8.2p1", "8.2 patch 1", "8.2.0-p1"),
        ("8.2hf4", "8.2 Hotfix 4"),
        ("8.2.post1", "8.2 rev 1"),
        ("8.2 beta", "8.2 beta 0"),
        ("0", "0.0", "v0.0.0"),
    ],
)
def test_one_release_written_in_many_ways_is_equal_and_hashes_alike(same: tuple[str, ...]) -> None:
    assert len({parse_release(text) for text in same}) == 1


def test_text_is_kept_as_it_was_read() -> None:
    release = parse_release(" Version 8.2 SP1 ")
    assert release.text == str(release) == " Version 8.2 SP1 "


@pytest.mark.parametrize(("text", "major"), [("8.2", 8), ("v10.0.0-rc1", 10), ("0.9", 0), ("0", 0), ("2024.04", 2024)])
def test_major_is_the_first_number(text: str, major: int) -> None:
    assert parse_release(text).major == major


def test_long_numbers_keep_every_digit() -> None:
    assert_increasing(["8.2.20261231235959000001", "8.2.20261231235959000002"])
    assert_increasing(["8.2 post 20261231235959000001", "8.2 post 20261231235959000002"])


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "missing"),
        ("  ", "missing"),
        ("unknown", "start with a number"),
        (">=8.2", "start with a number"),
        ("-8.2", "start with a number"),
        ("\u0668.\u0662", "start with a number"),  # Arabic-Indic digits
        ("1.0.0-1", "needs a word"),  # VER-11: SemVer and PEP 440 disagree
        ("8.2_1", "needs a word"),
        ("8.2 1234", "needs a word"),
        ("8.2 (1234)", "needs a word"),
        ("8.2 rc1.5", "needs a word"),
        ("8.2 b1234", "beta or a build"),
        ("8.2a", "lone 'a'"),
        ("8.2 b", "lone 'b'"),
        ("8.2 SP", "'sp' needs a number"),
        ("8.2 update", "'update' needs a number"),
        ("8.2.post", "'post' needs a number"),
        ("8.x", "'x' is not"),
        ("8.2 or later", "'or' is not"),
        ("8.2m1", "'m' is not"),
        ("8.2r2", "'r' is not"),
        ("8.2-foo.1", "'foo' is not"),
        ("8.2 build", "'build' is not"),
        ("8,2", "',2' is not understood"),
        ("8..2", "'..2' is not understood"),
        ("8.2.", "'.' is not understood"),
        ("8.2-", "'-' is not understood"),
        ("8.2+", "'+' is not understood"),
        ("1!2.0", "'!2.0' is not understood"),
        ("8.2 / 8.3", "'/ 8.3' is not understood"),
        ("8.2 (build 3", "not understood"),
        ("8.2 GA 2", "'ga' takes no number"),
        ("8.2 SP1 SP2", "contradict"),
        ("8.2 beta1 rc1", "contradict"),
        ("8.2 dev1 rc1", "contradict"),
        ("8." * 200 + "1", "longer than 100"),
    ],
)
def test_a_text_without_a_certain_order_is_refused_with_the_reason_and_what_is_understood(text: str, why: str) -> None:
    with pytest.raises(ValueError, match="write dotted numbers") as caught:
        parse_release(text)
    assert why in str(caught.value).removesuffix(UNDERSTOOD)


_STAGES = ["dev", "alpha", "beta", "milestone", "rc"]
_LATER = ["post", "hotfix", "patch", "update", "sp"]
_NUMBERS = st.lists(st.integers(0, 12), min_size=1, max_size=4).map(lambda parts: ".".join(map(str, parts)))


@st.composite
def release_texts(draw: st.DrawFn) -> str:
    text = draw(_NUMBERS)
    for words in (_LATER, _STAGES):
        if draw(st.booleans()):
            text += f" {draw(st.sampled_from(words))} {draw(st.integers(0, 12))}"
    return text


@given(release_texts(), release_texts(), release_texts())
def test_the_order_is_total_and_transitive(one: str, two: str, three: str) -> None:
    a, b, c = parse_release(one), parse_release(two), parse_release(three)
    assert [a < b, a == b, a > b].count(True) == 1
    assert not (a <= b <= c) or a <= c


@given(_NUMBERS, st.sampled_from(_STAGES), st.sampled_from(_LATER), st.integers(1, 99))
def test_stages_come_before_and_later_ones_after_their_release(base: str, stage: str, later: str, number: int) -> None:
    release = parse_release(base)
    assert parse_release(f"{base}{stage}{number}") < release < parse_release(f"{base} {later} {number}")
    assert parse_release(f"{base} {later} {number}") < parse_release(f"{base}.0.0.0.1")


@given(st.text(max_size=30) | st.from_regex(r"v?[0-9. _+()-]{1,12}[a-z0-9 ._+()-]{0,12}", fullmatch=True))
def test_any_text_gives_a_release_or_a_value_error(text: str) -> None:
    try:
        release = parse_release(text)
    except ValueError:
        return
    assert isinstance(release, Release)
    assert parse_release(text.swapcase()) == release


def test_a_lone_b_is_a_beta_up_to_99_and_a_text_may_have_100_characters() -> None:
    assert parse_release("8.2b99") == parse_release("8.2 beta 99") < parse_release("8.2 beta 100")
    with pytest.raises(ValueError, match="beta or a build"):
        parse_release("8.2b100")
    assert parse_release("8." + "1" * 98).major == 8
    with pytest.raises(ValueError, match="longer than 100"):
        parse_release("8." + "1" * 99)
