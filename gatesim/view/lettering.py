"""Fonts for text in any script, as far as this machine has them."""

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

MISSING = "\u25a1"
"""Stands for a character that cannot be printed."""


def own_fonts() -> tuple[Path, Path]:
    """Regular and bold font that come with matplotlib: Latin, Greek, Cyrillic and more."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return folder / "DejaVuSans.ttf", folder / "DejaVuSans-Bold.ttf"


@lru_cache(maxsize=64)
def _covers(font: Path) -> frozenset[int]:
    """Code points that a font has a glyph for; none where the file is no font."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(font, lazy=True, fontNumber=0) as opened:
            return frozenset(opened.getBestCmap() or ())
    except (TTLibError, OSError, KeyError, AssertionError):
        return frozenset()


def _plainly_set(character: str) -> bool:
    """Whether it stands by itself from left to right: other scripts need shaping, which is not done."""
    marks = unicodedata.category(character) in ("Mn", "Mc", "Me")
    return not marks and unicodedata.bidirectional(character) not in ("R", "AL", "AN")


def lettering(texts: Iterable[str]) -> tuple[frozenset[str], tuple[Path, ...]]:
    """Characters of these texts that can be printed, and further fonts of this machine that they take."""
    wanted = {c for text in texts for c in unicodedata.normalize("NFC", text) if _plainly_set(c)}
    known = set.intersection(*(set(_covers(font)) for font in own_fonts()))
    able = {c for c in wanted if ord(c) in known}
    further = []
    for font in _of_this_machine() if wanted - able else ():
        more = {c for c in wanted - able if ord(c) in _covers(font)}
        if more:
            able |= more
            further.append(font)
    return frozenset(able), tuple(further)


def _of_this_machine() -> list[Path]:
    from matplotlib import font_manager

    return sorted(
        Path(name) for name in font_manager.findSystemFonts() if name.lower().endswith((".ttf", ".otf"))
    )


def set_in(text: str, able: frozenset[str]) -> str:
    """The text with a box for every character that cannot be printed."""
    return "".join(c if c in able else MISSING for c in unicodedata.normalize("NFC", text))
