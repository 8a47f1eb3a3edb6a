"""The log reader keeps bad rows apart, by line, and drops nothing silently."""

import math
from pathlib import Path

import numpy as np
import pytest

from gatesim.ground.errors import InputError
from gatesim.shopfloor.log import read_log


def written(folder: Path, text: str) -> Path:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_columns_are_matched_by_header_and_converted_to_si(tmp_path: Path) -> None:
    log = read_log(
        written(tmp_path, "# remark\nDwell [1],Length [mm],part,colour\n12,40.5,a,red\n13,0.5,b,red\n")
    )
    assert log.numbers["length"] == pytest.approx([0.0405, 0.0005], rel=1e-15)
    assert list(log.numbers["dwell"]) == [12.0, 13.0]
    assert log.labels["part"] == ("a", "b")
    assert log.lines == (3, 4)
    assert log.ignored == ("colour",)
    assert log.units == {"dwell": "", "length": "mm"}


def test_bad_rows_are_kept_apart_by_line_number_with_their_text(tmp_path: Path) -> None:
    rows = ["12,40", "x,40", "12.5,40", "-3,40", "12", "12,nan", "12,", "13,41"]
    log = read_log(written(tmp_path, "dwell [1],length [mm]\n" + "\n".join(rows) + "\n"), need=("length",))
    assert log.lines == (2, 9)
    assert [b.line for b in log.bad] == [3, 4, 5, 6, 7, 8]
    assert [b.text for b in log.bad] == rows[1:7]
    assert "expected a number" in log.bad[0].reason
    assert "expected a count" in log.bad[1].reason
    assert "1 fields, expected 2" in log.bad[3].reason
    assert "length is empty" in log.bad[5].reason


def test_a_field_that_is_not_needed_may_be_empty_and_reads_nan(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "length [mm],reference [mm]\n40,\n41,41\n"), need=("length",))
    assert math.isnan(log.numbers["reference"][0])
    assert log.bad == ()


def test_semicolons_and_decimal_commas_read_like_commas_and_points(tmp_path: Path) -> None:
    plain = read_log(written(tmp_path, "length [mm],part\n40.25,a\n"))
    other = read_log(written(tmp_path, "length [mm];part\n40,25;a\n"))
    assert np.array_equal(plain.numbers["length"], other.numbers["length"])


def test_dates_become_seconds_from_the_first_row(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "time,dwell\n2026-01-31T14:00:00,1\n2026-01-31T14:00:30,2\n"))
    assert list(log.numbers["time"]) == [0.0, 30.0]


def test_a_mapping_names_columns_the_header_does_not(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "C1,C2\n100,200\n"), mapping={"C1": "dwell [1]", "C2": "capture [1]"})
    assert log.numbers["capture"][0] == 200.0


@pytest.mark.parametrize(
    ("text", "need", "sentence"),
    [
        ("", (), "the file is empty"),
        ("dwell\n", (), "no row can be used"),
        ("dwell\nx\n", (), "the first bad one is line 2"),
        ("dwell\n1\n", ("length",), "no column 'length'"),
        ("length\n1\n", (), "it has no unit"),
        ("length [s]\n1\n", (), "given the unit 's'"),
        ("length [mm],length [m]\n1,1\n", (), "two columns give 'length'"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_with_one_sentence(
    tmp_path: Path, text: str, need: tuple[str, ...], sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence) as caught:
        read_log(written(tmp_path, text), need=need)
    assert "log.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_binary_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_log(tmp_path / "absent.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_log(tmp_path / "b.csv")


def test_a_shop_log_is_read_as_it_comes_and_says_how(tmp_path: Path) -> None:
    """Byte-order mark, Windows line ends, semicolons, decimal commas, capitals, units in either bracket."""
    text = "\ufeffTIME;LENGTH (mm);Dwell\r\n31.01.2026 14:05:00;40,25;12\r\n31.01.2026 14:05:30;40,125;13\r\n"
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode("utf-8"))
    log = read_log(path)
    assert log.bad == ()
    assert log.numbers["length"] == pytest.approx([0.04025, 0.040125])
    assert list(log.numbers["time"]) == [0.0, 30.0]
    assert log.written_with == "semicolons between fields, decimal commas"
    assert read_log(written(tmp_path, "length [mm]\n40.25\n")).dialect.usual


def test_a_number_that_may_mean_two_things_is_refused_with_its_line(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "length [mm];part\n40,25;a\n1.234;b\n40.5;c\n1,234;d\n1234;e\n"))
    assert [b.line for b in log.bad] == [3, 5]
    assert log.bad[0].reason == "'1.234' may be 1.234 or 1234, expected one decimal mark in all rows"
    only_commas = read_log(written(tmp_path, "length [mm];part\n179,998;a\n180,001;b\n"))
    assert only_commas.numbers["length"] == pytest.approx([0.179998, 0.180001])


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2026-01-31 14:05:00", "2026-01-31 14:05:00.500"),
        ("2026-01-31T14:05:00+01:00", "2026-01-31T13:05:00.5Z"),
        ("31.01.2026 14:05:00", "31.01.2026 14:05:00,5"),
        ("2026/01/31 14:05:00", "2026-01-31 14:05:00.5"),
        ("14:05:00", "14:05:00.5"),
        ("31.01.26 14:05:00", "31.01.26 14:05:00,5"),
        ("2026/01/31 2:05:00 PM", "2026-01-31T14:05:00.5"),
        ("31-Jan-2026 14:05:00", "31 Jan 2026 14:05:00.5"),
        ("31.01.2026", "2026-01-31 00:00:00.5"),
    ],
)
def test_time_stamps_of_several_kinds_are_read(first: str, second: str, tmp_path: Path) -> None:
    log = read_log(written(tmp_path, f"time;dwell\n{first};1\n{second};2\n"))
    assert log.numbers["time"] == pytest.approx([0.0, 0.5])


def test_a_date_whose_day_and_month_may_be_swapped_is_refused(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "time;dwell\n2026-01-31 14:05;1\n02/03/2026 14:05;2\n"))
    assert [b.line for b in log.bad] == [3]
    assert "where day or month may come first" in log.bad[0].reason


def test_decimal_commas_between_commas_are_read_where_one_reading_is_possible(tmp_path: Path) -> None:
    """Counts are whole and names no numbers: the comma can only be that of the length."""
    text = "dwell [1],reference [mm],part\n1000,179,5,a\n1001,180,b\n1002,179,75,c\n"
    log = read_log(written(tmp_path, text))
    assert log.bad == ()
    assert log.numbers["reference"] == pytest.approx([0.1795, 0.180, 0.17975])
    assert log.labels["part"] == ("a", "b", "c")
    assert log.written_with == "commas between fields, decimal commas"
    quoted = read_log(written(tmp_path, 'length [mm],part\n"179,5",a\n"179,25",b\n'))
    assert quoted.numbers["length"] == pytest.approx([0.1795, 0.17925])
    alone = read_log(written(tmp_path, "length [mm]\n179,5\n179,25\n"))
    assert alone.numbers["length"] == pytest.approx([0.1795, 0.17925])


def test_decimal_commas_between_commas_that_may_mean_two_things_are_refused_with_the_line(
    tmp_path: Path,
) -> None:
    text = "length [mm],reference [mm]\n179,180\n179,5,180\n179,5,180,0\n179,5,180,0,1\n"
    log = read_log(written(tmp_path, text))
    assert [b.line for b in log.bad] == [3, 5]
    assert log.bad[0].reason.startswith("the row may be 179 and 5,180, or 179,5 and 180, expected semicolons")
    assert log.bad[1].reason == "5 fields, expected 2 as in the header"
    thousands = read_log(written(tmp_path, 'length [mm],part\n"1,234",a\n12,b\n'))
    assert [b.line for b in thousands.bad] == [2]
    assert thousands.bad[0].reason == "'1,234' may be 1.234 or 1234, expected a decimal point"


def test_random_rows_with_decimal_commas_are_read_right_or_refused(tmp_path: Path) -> None:
    """What is read is what was written, over 2,000 rows whose numbers have decimals or none."""
    rng = np.random.default_rng(4)
    rows, values = [], []
    for _ in range(2000):
        pair = zip(rng.uniform(100, 300, 2), rng.integers(0, 3, 2), strict=True)
        texts = [f"{x:.{d}f}" for x, d in pair]
        values.append([float(text) for text in texts])
        rows.append(f"{rng.integers(1000, 9999)},{','.join(texts)}".replace(".", ","))
    log = read_log(written(tmp_path, "dwell [1],length [mm],reference [mm]\n" + "\n".join(rows) + "\n"))
    assert 300 < len(log) < 1700
    for row, line in enumerate(log.lines):
        for name, value in zip(("length", "reference"), values[line - 2], strict=True):
            assert 1e3 * log.numbers[name][row] == pytest.approx(value)


@pytest.mark.parametrize(
    ("stamps", "seconds"),
    [
        (("31/01/2026 14:05:00", "31/01/2026 14:05:30"), 30.0),
        (("01/31/2026 14:05", "01/31/2026 14:06"), 60.0),
        (("31-01-2026 14:05:00,5", "31-01-2026 14:05:01"), 0.5),
        (("1/31/2026 2:05:00 PM", "1/31/2026 2:05:05 PM"), 5.0),
        (("31/01/2026", "01/02/2026"), 86400.0),  # the first row shows that the day comes first
        (("05/05/2026 10:00", "05/05/2026 10:01"), 60.0),  # the same either way
    ],
)
def test_dates_with_slashes_are_read_where_only_one_order_is_possible(
    stamps: tuple[str, str], seconds: float, tmp_path: Path
) -> None:
    log = read_log(written(tmp_path, f"time;dwell\n{stamps[0]};1\n{stamps[1]};2\n"))
    assert log.bad == ()
    assert log.numbers["time"] == pytest.approx([0.0, seconds])


def test_the_order_that_some_dates_show_is_that_of_all_and_is_said(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "time;dwell\n03/04/2026 10:00;1\n13/04/2026 10:00;2\n"))
    assert log.numbers["time"] == pytest.approx([0.0, 10 * 86400.0])
    assert log.written_with == "semicolons between fields, decimal points, dates with the day first"
    torn = read_log(written(tmp_path, "time;dwell\n03/04/2026;1\n13/04/2026;2\n04/13/2026;3\n31/01/26;4\n"))
    assert [b.line for b in torn.bad] == [2, 5]
    assert "where day or month may come first" in torn.bad[0].reason
    assert "whose year has 2 digits" in torn.bad[1].reason


def test_spreadsheets_text_in_utf_16_is_read(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes("Length (µm)\tPart\r\n179500,5\ta\r\n179600\tb\r\n".encode("utf-16"))
    log = read_log(path)
    assert log.numbers["length"] == pytest.approx([0.1795005, 0.1796])
    assert log.written_with == "tabs between fields, decimal commas"
