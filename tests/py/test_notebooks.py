"""The notebooks run from top to bottom, and are kept without what they print."""

import time
from pathlib import Path

import nbformat
import pytest
from conftest import ROOT
from nbclient import NotebookClient

NOTEBOOKS = sorted((ROOT / "examples" / "notebooks").glob("*.ipynb"))
LIMIT_S = 60
"""A newcomer waits no longer; on one core each takes a small part of it."""


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_notebook_runs(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    began = time.monotonic()
    where = {"metadata": {"path": str(path.parent)}}
    NotebookClient(
        notebook, timeout=LIMIT_S, kernel_name="python3", resources=where
    ).execute()
    assert time.monotonic() - began < LIMIT_S
    kinds = {
        kind
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        for kind in output.get("data", {})
    }
    assert "image/png" in kinds  # what is drawn is shown
    streams = [
        output
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if output.output_type == "stream" and output.name == "stderr"
    ]
    assert not streams


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_notebook_is_kept_bare(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
            assert all(len(line) <= 88 for line in cell.source.splitlines())
    said = "\n".join(cell.source for cell in notebook.cells)
    # What is invented says so, and where work can hurt the cautions stand.
    assert "invented" in said
    assert "crush and kill" in said or "Secure it, keep people clear" in said
    assert "licensed practice" in said.replace("\n", " ")


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) >= 4
