"""Why a rollout has no fewer waves: the limits on a wave in words."""

import pytest

from planner.rollout.bounds import _sizes


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ((3, 6), "at most 3 in wave 1, 6 in each later wave"),
        ((3, 6, 6), "at most 3 in wave 1, 6 in each later wave"),
        (
            (1, 2, 4, 8, 16, 20),
            "at most 1 in wave 1, 2 in wave 2, 4 in wave 3, more in each next one, 20 in each later wave",
        ),
        ((6,), "a wave may change at most 6"),
    ],
)
def test_the_sizes_of_waves_are_told_wave_by_wave(sizes, words):
    assert _sizes(sizes) == words
