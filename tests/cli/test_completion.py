"""`castingvote completion`: scripts for the shells, and the words they ask for."""

import pytest


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_completes_the_name_of_the_program(call, shell):
    done = call("completion", shell)
    assert done.code == 0
    assert "castingvote" in done.out
    assert f"_CASTINGVOTE_COMPLETE={shell}_complete" in done.out


@pytest.mark.parametrize(
    ("words", "number", "completed"),
    [
        ("castingvote pl", 1, "plain,plan\n"),
        ("castingvote plan --ti", 2, "plain,--time-limit\n"),
        ("castingvote sweep --rt", 2, "plain,--rtt-spread\n"),
        ("castingvote plan fl", 2, "file,fl\n"),
    ],
)
def test_what_the_script_asks_for_is_answered(call, monkeypatch, words, number, completed):
    monkeypatch.setenv("_CASTINGVOTE_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", words)
    monkeypatch.setenv("COMP_CWORD", str(number))
    assert call().out == completed
