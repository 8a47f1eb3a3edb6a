"""Renders a commissioning sheet as HTML and as PDF, from the same content."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from gatesim.shopfloor.sheet import Block, Sheet
from gatesim.view.lettering import MISSING, lettering, own_fonts, set_in
from gatesim.view.template import render

_WIDTH = 186.0  # mm of text on A4 with margins of 12 mm
_SIZE = 9.0  # points: to be read at arm's length
_LINE = 0.48 * _SIZE  # mm
_KEPT = 28.0  # mm that a heading wants below it on its page
_BY_HAND = 7.0  # mm of height to write in


def sheet_html(sheet: Sheet) -> str:
    """The page as one self-contained HTML document; everything inserted is escaped."""
    return render("sheet.html.j2", sheet=sheet)


def sheet_pdf(sheet: Sheet) -> bytes:
    """The sheet as PDF on A4, as many pages as it takes, with embedded fonts.

    Where no font at hand has a character, a box stands for it and a sentence says so.
    """
    able, further = lettering(_texts(sheet))
    printed = _in_print(sheet, able)
    document = _document(printed)
    regular, bold = own_fonts()
    document.add_font("own", "", regular)
    document.add_font("own", "B", bold)
    names = [f"further{number}" for number in range(len(further))]
    for name, path in zip(names, further, strict=True):
        document.add_font(name, "", path)
    document.set_fallback_fonts(names, exact_match=False)
    document.set_title(sheet.title)
    document.add_page()
    _write(document, printed)
    return bytes(document.output())


def _texts(sheet: Sheet) -> Iterator[str]:
    yield from (sheet.title, sheet.subtitle, *sheet.sign, "• 0123456789/")
    for block in sheet.blocks:
        yield from (block.heading, *block.head, *block.lines)
        for row in block.rows:
            yield from row


def _in_print(sheet: Sheet, able: frozenset[str]) -> Sheet:
    """The sheet in characters that can be printed, with a sentence where some cannot."""

    def cells(row: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(set_in(cell, able) for cell in row)

    blocks = tuple(
        replace(b, heading=set_in(b.heading, able), rows=tuple(map(cells, b.rows)), lines=cells(b.lines))
        for b in sheet.blocks
    )
    subtitle = set_in(sheet.subtitle, able)
    if any(set(text) - able for text in _texts(sheet)):
        subtitle += f" {MISSING} stands for a character that no font here can print; the HTML page has it."
    return replace(sheet, title=set_in(sheet.title, able), subtitle=subtitle, blocks=blocks)


def _document(sheet: Sheet) -> Any:
    from fpdf import FPDF

    class Document(FPDF):
        def footer(self) -> None:
            self.set_y(-10)
            self.set_font("own", "", 7.5)
            self.cell(_WIDTH - 20, 4, sheet.title[:110])
            self.cell(20, 4, f"{self.page_no()} / {{nb}}", align="R")

    pdf = Document(format="A4")
    pdf.set_margin(12)
    pdf.set_auto_page_break(True, 14)
    return pdf


def _write(pdf: Any, sheet: Sheet) -> None:
    pdf.set_font("own", "B", _SIZE + 4)
    _lines(pdf, sheet.title, _SIZE + 4)
    pdf.set_font("own", "", _SIZE)
    _lines(pdf, sheet.subtitle, _SIZE)
    for block in sheet.blocks:
        _block(pdf, block)
    _sign(pdf, sheet.sign)


def _lines(pdf: Any, text: str, size: float) -> None:
    pdf.multi_cell(_WIDTH, size * 0.48, text, align="L", new_x="LMARGIN", new_y="NEXT")


def _block(pdf: Any, block: Block) -> None:
    pdf.ln(2.5)
    if pdf.will_page_break(_KEPT):
        pdf.add_page()
    pdf.set_font("own", "B", _SIZE + 1)
    _lines(pdf, block.heading, _SIZE + 1)
    pdf.set_font("own", "", _SIZE)
    if block.rows:
        _table(pdf, block)
    for line in block.lines:
        _lines(pdf, f"•  {line}", _SIZE)


def _table(pdf: Any, block: Block) -> None:
    from fpdf.fonts import FontFace

    with pdf.table(
        col_widths=tuple(_share(block, k) for k in range(len(block.rows[0]))),
        width=_WIDTH,
        line_height=_LINE,
        text_align="LEFT",
        first_row_as_headings=bool(block.head),
        headings_style=FontFace(emphasis="BOLD", fill_color=(238, 238, 238)),
        padding=(0.4, 1.2),
    ) as table:
        if block.head:
            table.row(block.head)
        for row in block.rows:
            table.row(row, min_height=_BY_HAND if block.by_hand else None)


def _share(block: Block, column: int) -> int:
    """Width of a column by its longest cell, within reason, and never less than its longest word."""
    if block.head and block.head[column] in block.by_hand:
        return 18
    cells = [row[column] for row in (block.head, *block.rows) if row]
    words = [
        len(word) for cell in cells for word in cell.split(" ")
    ]  # unlike split(), not at no-break spaces
    return max(min(max(len(cell) for cell in cells), 60), max(words, default=0) + 4, 10)


def _sign(pdf: Any, words: tuple[str, ...]) -> None:
    if pdf.will_page_break(20.0):
        pdf.add_page()
    pdf.ln(12.0)
    width = _WIDTH / len(words)
    for word in words:
        pdf.cell(width - 6, _LINE, word, border="T")
        pdf.cell(6, _LINE, "")
