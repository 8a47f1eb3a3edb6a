"""Renders a commissioning sheet as HTML and as PDF, from the same content."""

from pathlib import Path
from typing import Any

from gatesim.shopfloor.sheet import Block, Sheet
from gatesim.view.template import render

_WIDTH = 186.0  # mm of text on A4 with margins of 12 mm


def sheet_html(sheet: Sheet) -> str:
    """The page as one self-contained HTML document; everything inserted is escaped."""
    return render("sheet.html.j2", sheet=sheet)


def sheet_pdf(sheet: Sheet) -> bytes:
    """The page as PDF with embedded fonts; set smaller until it fits on one A4 page."""
    for size in (8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5):
        document = _document(sheet, size)
        if document.pages_count == 1:
            break
    return bytes(document.output())


def _document(sheet: Sheet, size: float) -> Any:
    import matplotlib
    from fpdf import FPDF

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdf = FPDF(format="A4")
    pdf.set_title(sheet.title)
    pdf.add_font("DejaVu", "", fonts / "DejaVuSans.ttf")
    pdf.add_font("DejaVu", "B", fonts / "DejaVuSans-Bold.ttf")
    pdf.set_margin(12)
    pdf.set_auto_page_break(True, 12)
    pdf.add_page()
    pdf.set_font("DejaVu", "B", size + 4)
    _lines(pdf, sheet.title, size + 4)
    pdf.set_font("DejaVu", "", size)
    _lines(pdf, sheet.subtitle, size)
    for block in sheet.blocks:
        _block(pdf, block, size)
    _sign(pdf, sheet.sign, size)
    return pdf


def _lines(pdf: Any, text: str, size: float) -> None:
    pdf.multi_cell(_WIDTH, size * 0.48, text, align="L", new_x="LMARGIN", new_y="NEXT")


def _block(pdf: Any, block: Block, size: float) -> None:
    pdf.ln(size * 0.25)
    pdf.set_font("DejaVu", "B", size + 1)
    _lines(pdf, block.heading, size + 1)
    pdf.set_font("DejaVu", "", size)
    if block.rows:
        _table(pdf, block, size)
    for line in block.lines:
        _lines(pdf, f"•  {line}", size)


def _table(pdf: Any, block: Block, size: float) -> None:
    from fpdf.fonts import FontFace

    columns = len(block.rows[0])
    widths = tuple(_share(block, k) for k in range(columns))
    with pdf.table(
        col_widths=widths,
        width=_WIDTH,
        line_height=size * 0.48,
        text_align="LEFT",
        first_row_as_headings=bool(block.head),
        headings_style=FontFace(emphasis="BOLD", fill_color=(238, 238, 238)),
        padding=(0.4, 1.2),
    ) as table:
        for row in (block.head, *block.rows) if block.head else block.rows:
            table.row(row)


def _share(block: Block, column: int) -> int:
    """Width of a column by its longest cell, within reason, and never less than its longest word."""
    cells = [row[column] for row in (block.head, *block.rows) if row]
    words = [
        len(word) for cell in cells for word in cell.split(" ")
    ]  # unlike split(), not at no-break spaces
    return max(min(max(len(cell) for cell in cells), 60), max(words, default=0) + 3)


def _sign(pdf: Any, words: tuple[str, ...], size: float) -> None:
    pdf.ln(size * 1.1)
    width = _WIDTH / len(words)
    for word in words:
        pdf.cell(width - 6, size * 0.5, word, border="T")
        pdf.cell(6, size * 0.5, "")
