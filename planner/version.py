"""The version of castingvote, as plans and files state it. pyproject.toml reads it from here."""

VERSION = "0.2.0"
