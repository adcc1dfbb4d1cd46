"""The format VIPR 1.0 against its published examples and rules.

Sources: K. K. H. Cheung, A. Gleixner, D. E. Steffy, "Verifying Integer Programming Results", IPCO 2017, LNCS 10328,
148-160 (example 3), and the specification of the certificate file format, version 1.0, by the same authors.
"""

import pytest

from planner.verify.certificate import check_lines

# Example 3 of the paper, as the authors' file paper_eg3.vipr writes it.
INFEASIBLE = """\
% Example 3 in the paper
VER 1.0
VAR 2
x y
INT 2
0 1
OBJ min
0
CON 3 0
C1  G 1  2  0 2  1 3
C2  L 2  2  0 3  1 -4
C3  L 3  2  0 -1  1 6
RTP infeas
SOL 0
DER 11
A1  L 0   1  0 1  { asm } -1
A2  G 1   1  0 1  { asm } -1
A3  L 0   1  1 1  { asm } -1
C4  G 1   0       { lin 3  0 1  3 -2  5 -3 } 12
A4  G 1   1  1 1  { asm } -1
C5  G 1   0       { lin 3  2 -1/3  3 -1/3  7 2 } 12
C6  G 1/4 1  1 1  { lin 2  1 -1/4  4 3/4 } 10
C7  G 1   1  1 1  { rnd 1  9 1 } 11
C8  G 1   0       { lin 3 1 -1/3  2 -1  10 14/3 } 13
C9  G 1   0       { uns 6 5  8 7 } 13
C10 G 1   0       { uns 11 4  12 3 } -1
"""

# The example that runs through the specification.
BOUNDED = """\
VER 1.0
VAR 2
x y
INT 2
0 1
OBJ min
2  0 1  1 1
CON 2 0
C1 G 1  2  0 4  1 1
C2 L 2  2  0 4  1 -1
RTP range 1 1
SOL 2
feas 2  0 1  1 2
opt 1  1 1
DER 4
C3 G -1/2  1  1 1   { lin 2  0 1/2  1 -1/2 } 3
C4 G 0     1  1 1   { rnd 1  2 1 } 4
C5 G 1/4   OBJ     { lin 2  0 1/4  3 3/4 } 5
C6 G 1     OBJ     { rnd 1  4 1 } 0
"""


@pytest.mark.parametrize("text", [INFEASIBLE, BOUNDED], ids=["paper", "specification"])
def test_the_authors_examples_are_accepted(text):
    assert check_lines(text.splitlines()) == ""


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("10 14/3", "10 13/3", "C8 does not follow"),
        (
            "2  1 -1/4  4 3/4",
            "2  1 1/4  4 3/4",
            "certificate: step C6 adds constraints 'at least' to constraints 'at most', which proves nothing",
        ),
        ("C7  G 1   1  1 1  { rnd", "C7  G 1   1  1 1  { lin", "C7 does not follow"),
        (
            "{ uns 6 5  8 7 }",
            "{ uns 6 5  8 4 }",
            "which are not all the cases",
        ),
        (
            "{ uns 11 4  12 3 }",
            "{ lin 1  12 1 }",
            "certificate: its last step, C10, is shown for one case only, and the other case is missing",
        ),
        ("INT 2\n0 1", "INT 1\n0", "certificate: step C7 is rounded, but a part of it need not be a whole number"),
        ("A4  G 1 ", "A4  G 2 ", "which are not all the cases"),
        (
            "{ rnd 1  9 1 } 11",
            "{ rnd 1  11 1 } 11",
            "certificate: line 23: the file has '11' where it must have a whole number below 10",
        ),
        ("} 10\n", "} 9\n", "certificate: step C7 uses C6, which the file declares as no longer used at that place"),
        ("VER 1.0", "VER 1.1", "line 2: the file has '1.1' where it must have 1.0"),
        ("C1  G 1  2  0 2  1 3", "C1  G 1  2  0 2  0 3", "the same index is used twice"),
        ("C1  G 1", "C1  G 1e9", "where it must have a number"),
        ("DER 11", "DER 10", "follows the last step"),
        ("DER 11", "DER 12", "certificate: the file ends before the certificate is complete"),
        ("% Example", "%Example", "line 1: the file has '%Example' where it must have VER"),
    ],
)
def test_what_the_rules_forbid_is_refused(old, new, why):
    assert old in INFEASIBLE
    assert why in check_lines(INFEASIBLE.replace(old, new).splitlines())


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("feas 2  0 1  1 2", "feas 2  0 1  1 1", "certificate: plan 1 in it breaks the constraint C2"),
        ("opt 1  1 1", "opt 1  1 3/2", "has a fraction"),
        (
            "RTP range 1 1",
            "RTP range 2 2",
            "certificate: its last step, C6, does not prove the bound of 2 that it states",
        ),
        ("RTP range 1 1", "RTP range 0 0", "no plan in it needs only 0"),
        ("C5 G 1/4", "C5 G 3/4", "C5 does not follow"),
        (
            "C4 G 0     1  1 1   { rnd 1  2 1 } 4",
            "C4 G 0     1  1 1   { sol } 4",
            "certificate: step C4 takes a known plan as its reason; that proves only a limit on the objective",
        ),
    ],
)
def test_bounds_and_solutions_are_checked(old, new, why):
    assert old in BOUNDED
    assert why in check_lines(BOUNDED.replace(old, new).splitlines())


def test_a_cutoff_by_a_solution_proves_no_more_than_that_solution():
    cut_off = BOUNDED.replace("DER 4", "DER 2").split("C3 G")[0]
    line = "D1 L 0 OBJ { sol } 3\n"
    goal = "D2 G 1 0 { lin 3  0 -1  1 1  2 4 } -1\n"  # -4x - y <= -1, 4x - y <= 2 ... no contradiction
    assert "does not follow" in check_lines((cut_off + line + goal).splitlines())
    assert "certificate: step D1 leaves out plans as good as the best known one" in check_lines(
        (cut_off + line.replace("L 0", "L -1") + goal).splitlines()
    )
