"""The notebook from idea to hand-over runs, and its story holds."""

from pathlib import Path

import pytest

nbclient = pytest.importorskip("nbclient")
nbformat = pytest.importorskip("nbformat")
HERE = Path(__file__).parents[1]


@pytest.mark.long
def test_notebook_from_idea_to_hand_over_runs_and_ends_with_an_accepted_gauge():
    notebook = nbformat.read(HERE / "notebooks" / "from-idea-to-hand-over.ipynb", as_version=4)
    client = nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(HERE)}})
    client.execute()
    printed = "".join(o.get("text", "") for cell in notebook.cells for o in cell.get("outputs", []))
    # the spoilt row and the unreadable line, and no other
    assert "75 rows fitted, 24 held out (seed 1), 2 set apart" in printed
    assert "The model describes the log." in printed
    assert "cannot separate path.friction" in printed
    pairs = [line.split() for line in printed.splitlines() if line.startswith(("path.", "gate.", "sensor."))]
    scores = [float(pair[1]) for pair in pairs if len(pair) == 2]
    assert len(scores) == 8
    assert max(map(abs, scores)) < 5.0
    assert "No value can overflow its type" in printed
    (last,) = (line for line in printed.splitlines() if line.startswith("accepted "))
    accepted, good = [int(word) for word in last.split() if word.isdigit()][:2]
    assert 0.9 * good <= accepted <= good
    assert last.endswith("and 0 bad ones")
