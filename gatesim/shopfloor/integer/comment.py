"""Comments of IEC 61131-3 that no text can break out of."""

import textwrap
import unicodedata

_PLAIN = str.maketrans({"²": "^2", "√": "sqrt ", "µ": "u", "±": "+-", "–": "-", "ß": "ss", "ø": "o"})
_WIDTH = 100
_MARKS = (("(*", "( *"), ("*)", "* )"), ("/*", "/ *"), ("*/", "* /"), ("//", "/ /"))


def plain(text: str) -> str:
    """Text in printable ASCII without any mark that opens or ends a comment.

    Letters lose their accents; what ASCII has nothing for becomes a question mark.
    """
    bare = unicodedata.normalize("NFKD", text.translate(_PLAIN))
    bare = "".join(c for c in bare if not unicodedata.combining(c))
    printable = "".join(c if c.isprintable() else " " for c in bare.encode("ascii", "replace").decode())
    for mark, apart in _MARKS:
        while mark in printable:
            printable = printable.replace(mark, apart)
    return printable


def comment(text: str) -> str:
    """One comment of one line."""
    return f"(* {plain(text)} *)"


def comments(*texts: str) -> list[str]:
    """Comments for every line of the texts that is not blank, more than one for a long line."""
    lines = [plain(line) for text in texts for line in text.splitlines() if line.strip()]
    wrap = textwrap.TextWrapper(_WIDTH, subsequent_indent="  ", break_on_hyphens=False).wrap
    return [comment(part) for line in lines for part in wrap(line)]
