"""The notebook on accelerating parts runs, and what it says comes out."""

from pathlib import Path

import pytest

nbclient = pytest.importorskip("nbclient")
nbformat = pytest.importorskip("nbformat")
HERE = Path(__file__).parents[1]


@pytest.mark.long
def test_notebook_on_accelerating_parts_runs_and_its_identity_holds():
    notebook = nbformat.read(HERE / "notebooks" / "why-short.ipynb", as_version=4)
    client = nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(HERE)}})
    client.execute()
    printed = "".join(o.get("text", "") for cell in notebook.cells for o in cell.get("outputs", []))
    (line,) = (line for line in printed.splitlines() if line.startswith("simulated"))
    simulated, identity = (float(word) for word in line.split() if word[-1].isdigit())
    assert simulated == pytest.approx(identity, abs=1e-4)  # mm; a tick of the clock is 2e-5 mm of part
    assert simulated < -5.0
    # the error is 0 where the spacing is the part's length, within the step of the curve
    (at,) = (line.split("right at ")[1].split()[0] for line in printed.splitlines() if "right at" in line)
    assert float(at) == pytest.approx(210.0, abs=1.0)
    assert "The cheapest change" in printed
    images = [
        o for cell in notebook.cells for o in cell.get("outputs", []) if "image/png" in o.get("data", {})
    ]
    assert len(images) == 3
