"""Release order against Semantic Versioning 2.0.0 and PEP 440, and against the libraries that implement them."""

from itertools import pairwise

import pytest
import semver
from hypothesis import given
from hypothesis import strategies as st
from packaging.version import Version

from planner.releases import parse_release


def sign(lower: object, higher: object) -> int:
    return (lower > higher) - (lower < higher)  # type: ignore[operator]


# VER-1: Semantic Versioning 2.0.0, item 11.4; VER-2: item 11.2.
SEMVER_CHAIN = (
    "1.0.0-alpha",
    "1.0.0-alpha.1",
    "1.0.0-alpha.beta",
    "1.0.0-beta",
    "1.0.0-beta.2",
    "1.0.0-beta.11",
    "1.0.0-rc.1",
    "1.0.0",
    "2.0.0",
    "2.1.0",
    "2.1.1",
)


def test_semver_precedence_chain() -> None:
    for lower, higher in pairwise(SEMVER_CHAIN):
        assert parse_release(lower) < parse_release(higher)


def test_semver_build_metadata_has_equal_precedence() -> None:
    """VER-3: Semantic Versioning 2.0.0, items 10 and 11.1."""
    assert parse_release("1.0.0+1") == parse_release("1.0.0+2") == parse_release("1.0.0")


# VER-5: PEP 440, "Summary of permitted suffixes and relative ordering", without its three local versions (1.0+abc.5,
# 1.0+abc.7, 1.0+5): here they are build metadata of equal weight, as in SemVer.
PEP440_CHAIN = (
    "1.dev0",
    "1.0.dev456",
    "1.0a1",
    "1.0a2.dev456",
    "1.0a12.dev456",
    "1.0a12",
    "1.0b1.dev456",
    "1.0b2",
    "1.0b2.post345.dev456",
    "1.0b2.post345",
    "1.0rc1.dev456",
    "1.0rc1",
    "1.0",
    "1.0.post456.dev34",
    "1.0.post456",
    "1.0.15",
    "1.1.dev1",
)


def test_pep440_ordering_summary() -> None:
    for lower, higher in pairwise(PEP440_CHAIN):
        assert parse_release(lower) < parse_release(higher)


def test_pep440_local_versions_have_no_weight_here() -> None:
    assert parse_release("1.0+abc.5") == parse_release("1.0+5") == parse_release("1.0")


def test_years_compare_as_numbers_and_an_epoch_is_refused() -> None:
    """VER-6: PEP 440, "Version epochs"; epochs are outside our grammar."""
    assert parse_release("2013.10") < parse_release("2014.04")
    with pytest.raises(ValueError, match="not understood"):
        parse_release("1!1.0")


def test_a_number_that_semver_and_pep440_read_oppositely_is_refused() -> None:
    """VER-11: 1.0.0-1 is below 1.0.0 in SemVer and above it in PEP 440."""
    assert semver.Version.parse("1.0.0-1") < semver.Version.parse("1.0.0")
    assert Version("1.0.0-1") > Version("1.0.0")
    with pytest.raises(ValueError, match="needs a word"):
        parse_release("1.0.0-1")


def test_a_candidate_is_below_its_release_and_does_not_meet_a_floor() -> None:
    """VER-12 and VER-14: SemVer and PEP 440 agree; Debian's order, which differs, is not ours."""
    assert parse_release("1.0.0-rc.1") < parse_release("1.0.0") <= parse_release("1.0+local")


def test_ten_is_above_nine() -> None:
    """VER-13."""
    assert parse_release("1.10.0") > parse_release("1.9.0")


_SMALL = st.integers(0, 12)


@st.composite
def semver_texts(draw: st.DrawFn) -> str:
    """Texts of the grammar that SemVer and we share: three numbers, dotted stages, build metadata."""
    text = ".".join(str(draw(_SMALL)) for _ in range(3))
    stages = draw(st.lists(st.sampled_from(["alpha", "beta", "rc"]), max_size=2, unique=True))
    if stages:
        text += "-" + ".".join(stages)
        if draw(st.booleans()):
            text += f".{draw(st.integers(1, 12))}"  # .0 counts as no number here, see the module's notes
    return text + draw(st.sampled_from(["", "+7", "+abc.5"]))


@given(semver_texts(), semver_texts())
def test_order_agrees_with_the_semver_library(one: str, two: str) -> None:
    assert sign(parse_release(one), parse_release(two)) == semver.Version.parse(one).compare(two)


@st.composite
def pep440_texts(draw: st.DrawFn) -> str:
    """Texts of the grammar that PEP 440 and we share: no epoch, no local version, no bare post number."""
    text = draw(st.sampled_from(["", "v"])) + ".".join(map(str, draw(st.lists(_SMALL, min_size=1, max_size=4))))
    separators = st.sampled_from(["", ".", "-", "_"])
    stages = st.sampled_from(["a", "b", "c", "rc", "alpha", "beta", "pre", "preview", "RC"])
    for words in (stages, st.sampled_from(["post", "rev"]), st.just("dev")):
        if draw(st.booleans()):
            text += f"{draw(separators)}{draw(words)}{draw(separators)}{draw(_SMALL)}"
    return text


@given(pep440_texts(), pep440_texts())
def test_order_agrees_with_the_packaging_library(one: str, two: str) -> None:
    assert sign(parse_release(one), parse_release(two)) == sign(Version(one), Version(two))
