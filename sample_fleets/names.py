"""Invented place names, the same for all sample fleets."""

from __future__ import annotations

# fmt: off
_PLANTS = (
    "Pippin", "Thistle", "Sorrel", "Quince", "Marlow", "Tansy", "Medlar", "Hazel", "Fennel", "Borage", "Yarrow",
    "Burdock", "Bracken", "Campion", "Damson", "Elder", "Figwort", "Gorse", "Hawkbit", "Juniper", "Knapweed",
    "Larkspur", "Mallow", "Nettle", "Orache", "Parsley", "Rowan", "Saffron", "Teasel", "Woodruff",
)
_ENDINGS = (
    "ford", "by", "ham", "bourne", "wick", "stead", "cross", "leigh", "thwaite", "mere", "holt", "combe", "garth",
    "shaw", "den",
)
# fmt: on


def town_names(count: int) -> list[str]:
    """Return ``count`` different invented town names, always in the same order."""
    names = [
        f"{plant}{_ENDINGS[(position + turn) % len(_ENDINGS)]}"
        for turn in range(len(_ENDINGS))
        for position, plant in enumerate(_PLANTS)
    ]
    repeats = -(-count // len(names))
    return [name if round_ == 1 else f"{name} {round_}" for round_ in range(1, repeats + 1) for name in names][:count]
