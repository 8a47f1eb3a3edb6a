"""The notebook on jitter and debounce runs, and its conclusions hold."""

from pathlib import Path

import pytest

nbclient = pytest.importorskip("nbclient")
nbformat = pytest.importorskip("nbformat")
HERE = Path(__file__).parents[1]


@pytest.mark.long
def test_notebook_on_jitter_and_debounce_runs_and_hold_off_costs_nothing():
    notebook = nbformat.read(HERE / "notebooks" / "jitter-and-debounce.ipynb", as_version=4)
    client = nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(HERE)}})
    client.execute()
    printed = "".join(o.get("text", "") for cell in notebook.cells for o in cell.get("outputs", []))
    costs = [float(line.split("u = ")[1].split()[0]) for line in printed.splitlines() if "u = " in line]
    with_filter, without = costs
    assert with_filter == pytest.approx(without, rel=0.03)
    assert "chatter let through" in printed
