"""A figure that cannot be written is refused before the work for it begins."""

import importlib
from pathlib import Path

import pytest
from click.testing import CliRunner

from gatesim.ground.errors import InputError
from gatesim.ground.files import target as checked

FOLDER = Path(__file__).parent.parent / "scenarios"
CHUTE = str(FOLDER / "2-chute-slat.toml")
# command and arguments
COMMANDS = [
    ("study", [CHUTE]),
    ("sweep", [CHUTE, "--vary", "gate.spacing=20mm:200mm:3"]),
    ("choose", [str(FOLDER / "choose" / "rungs.toml")]),
    ("feed", [CHUTE]),
    ("explain", [CHUTE]),
    ("qualify", ["no-such-log.csv"]),
    ("fit", [CHUTE, "no-such-log.csv", "--unknown", "path.friction"]),
    ("trace", [CHUTE]),
]


@pytest.mark.parametrize(("name", "arguments"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_command_refuses_an_unknown_ending_before_it_reads_or_prints(name, arguments, tmp_path):
    command = importlib.import_module(f"gatesim.commands.{name}").command
    found = CliRunner().invoke(command, [*arguments, "--figure", str(tmp_path / "figure.tif")])
    assert isinstance(found.exception, InputError)
    assert "figure.tif: given as the figure, expected a name ending in .png or .svg or .pdf" in str(
        found.exception
    )
    assert found.output == ""


@pytest.mark.long
def test_every_ending_offered_can_be_drawn(tmp_path):
    from gatesim.view.style import new_axes, save

    axes = new_axes(2.0, 2.0)
    for ending in (".png", ".svg", ".pdf", ".PNG"):
        target = tmp_path / f"figure{ending}"
        save(axes, target)
        assert target.stat().st_size > 500


def test_name_without_an_ending_or_in_no_directory_is_refused(tmp_path):
    with pytest.raises(InputError, match="expected a name ending in"):
        checked(tmp_path / "figure", "figure", endings=(".png",))
    with pytest.raises(InputError, match="there is no directory"):
        checked(tmp_path / "nowhere" / "figure.png", "figure", endings=(".png",))
